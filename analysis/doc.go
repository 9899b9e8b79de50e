// The time domain, in the order it is worked through:
//
//   - switching.go finds the switching frequency in a thinned-out stretch: from
//     the comb that explains most of its lines, or from its autocorrelation
//     where the lines are smeared. track.go follows the cycle through the record,
//     through dither and bursts, from the phase of short blocks.
//   - fold.go lays the record over one cycle, less its slow part. ripple.go takes
//     the folded cycle apart into straight or gently curved parts (the ripple)
//     and the transients at its edges; ring.go fits their rings.
//   - spikes.go takes the ripple off the record and counts and sizes what stands
//     above the noise, edge by edge and in between.
//   - gate.go excises the spikes and takes off ripple and mains for the noise
//     floor.
//   - lowpass.go and peaktopeak.go read the peak-to-peak in a 20 MHz span.
//
// Everything streams over the trace's own samples; nothing copies it.

package analysis
