// The time domain, in the order it is worked through:
//
//   - switching.go finds the switching frequency in a thinned-out stretch: from
//     the comb that explains most of its lines, or from its autocorrelation
//     where the lines are smeared. refine.go improves a fixed one over the whole
//     record. track.go follows the cycle through dither, bursts.go through
//     packets, align.go ties the track to the edges' transients.
//   - fold.go lays the record over one cycle, less its slow part. ripple.go takes
//     the folded cycle apart into the smooth ripple (pieces.go, cells.go) and the
//     transients at its edges (edges.go, ring.go, edgestep.go).
//   - residue.go takes the ripple off the record; spikes.go counts and sizes what
//     stands above the noise, edge by edge (templates.go) and in between.
//   - gate.go takes ripple, transients and mains off and excises where cycles
//     differ, for the noise floor (noise.go) and the random part (pard.go).
//   - the package bandlimit reads the peak-to-peak in a 20 MHz span.
//   - figures.go, uncertainty.go and cautions.go say what all that is worth.
//
// Everything streams over the trace's own samples; nothing copies it.

package analysis
