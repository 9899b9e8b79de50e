// Package bandlimit reads the peak-to-peak that an instrument with a limited
// bandwidth would show of a record taken with more.
package bandlimit
