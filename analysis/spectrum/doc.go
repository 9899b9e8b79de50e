// Package spectrum measures what a record of volts shows in the frequency domain:
// lines, bands, the noise floor under them, the mains, and the converter's steps
// that bound them all.
package spectrum
