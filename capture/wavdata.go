package capture

import (
	"bytes"
	"context"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"slices"
)

// wavData reads the samples of the chosen channel as fractions of full scale.
func (s *source) wavData(ctx context.Context, w *wavReader, stored *storedReader, f *wavFormat, size int64, unknown bool, kind string, opt Options) (*Trace, error) {
	t := &Trace{File: s.name, Coupling: CouplingAC, Channels: wavChannelNames(f.channels), TimeUnit: "samples", VoltUnit: "full scale", SampleRateHz: float64(f.rate)}
	if err := textOnly(s.name, opt); err != nil {
		return nil, err
	}
	ch, err := (&schema{names: t.Channels}).pick(s.name, opt, 0)
	if err != nil {
		return nil, err
	}
	if f.channels > 1 {
		t.Channel = t.Channels[ch]
	}
	t.assume(SettingChannel, fmt.Sprintf("%q, %d of %d", t.Channels[ch], ch+1, f.channels), "the order in the file")
	if size == 0 && !unknown {
		return nil, w.fail("a data chunk without samples", "at least 16 samples", "record it again")
	}
	dataAt := w.pos
	d := &wavSamples{source: s, w: w, f: f, ch: ch, size: size, unknown: unknown, clean: true}
	if err := d.read(ctx, stored); err != nil {
		return nil, err
	}
	d.cutTrailers(t)
	if err := d.check(dataAt); err != nil {
		return nil, err
	}
	if !d.clean {
		t.caution(CautionTruncated, fmt.Sprintf("the data chunk states %d bytes, the file holds %d: read what is there", size, d.got), "record or copy it again")
	} else if d.got%int64(f.frame) != 0 {
		t.caution(CautionTruncated, "the data ends inside a sample, which was left out", "record or copy it again")
	}
	if d.clean && !unknown {
		w.behindData(size, t)
	}
	// The rest is read for the checksum only.
	if _, err := io.Copy(io.Discard, w.r); err != nil && !isEOF(err) {
		return nil, streamError(s.name, err)
	}
	t.Volts = d.volts
	if err := f.describe(t, kind, opt); err != nil {
		return nil, err
	}
	t.leaveOutUnfilled()
	reach, err := t.applyInstrument(opt, extentOf(t.Volts))
	if err != nil {
		return nil, err
	}
	t.findBandEnd()
	t.Levels.ResolutionV = t.StepV
	t.findLevels(reach)
	return t, nil
}

// How many bytes behind the samples that are no chunk are more of them, and the least share
// of the samples' own.
const (
	lostBytes = 4096
	lostShare = 0.01
)

// behindData looks at what follows samples of so many bytes, and tells of more of them: a
// second data chunk, or bytes that are no chunk, as where a recorder stopped before it
// wrote the size anew.
func (w *wavReader) behindData(size int64, t *Trace) {
	const fix = "record or copy it again; where the whole record matters, have a sound editor save it anew"
	if w.skip(size&1) != nil {
		return
	}
	for {
		var h [8]byte
		if n, err := w.full(h[:]); n < len(h) || err != nil {
			return
		}
		next := int64(w.order.Uint32(h[4:]))
		switch id := string(h[:4]); {
		case id == "data" && next > 0:
			t.caution(CautionTruncated, fmt.Sprintf("a second data chunk of %d bytes behind the first is not read", next), fix)
			return
		case !identifier(h[:4]):
			n, _ := io.Copy(io.Discard, w.r)
			if more := n + int64(len(h)); more >= lostBytes && float64(more) > lostShare*float64(size) {
				t.caution(CautionTruncated, fmt.Sprintf("the data chunk states %d bytes, and %d more that are no chunk follow: samples may be missing", size, more), fix)
			}
			return
		}
		if w.skip(next+next&1) != nil {
			return
		}
	}
}

// textOnly refuses options that would change what a text file says, and that a
// WAV has no place for: to pass over them would leave a figure as it was
// without a word.
func textOnly(name string, opt Options) error {
	switch {
	case opt.VoltUnit != "":
		return &ParseError{Path: name, Found: fmt.Sprintf("--volt-unit %s for a WAV, whose samples are fractions of full scale", opt.VoltUnit), Expected: "volts at full scale", Fix: "give --volts-per-full-scale instead"}
	case opt.Segment > 1:
		return &ParseError{Path: name, Found: "one segment", Expected: fmt.Sprintf("segment %d", opt.Segment), Fix: "leave --segment out"}
	case opt.Scale != 0 && opt.VoltsPerFullScale != 0 && opt.Scale != opt.VoltsPerFullScale:
		return &ParseError{Path: name, Found: fmt.Sprintf("--scale %g and --volts-per-full-scale %g for one WAV", opt.Scale, opt.VoltsPerFullScale), Expected: "one of them", Fix: "leave --scale out"}
	}
	return nil
}

// wavSamples reads one channel of a data chunk.
type wavSamples struct {
	*source
	w       *wavReader
	f       *wavFormat
	ch      int
	size    int64 // of the chunk
	unknown bool  // the header states no size
	volts   []float64
	got     int64  // bytes read
	clean   bool   // as many as stated
	tail    []byte // the last bytes
}

// room is how many samples are made room for: a header may promise more than
// there is, so never by it alone.
func (d *wavSamples) room() int64 {
	left := d.textSize() - d.w.pos
	if d.gz && left < 0 {
		left = 0
	}
	hint := left
	if !d.unknown {
		hint = min(d.size, left)
	}
	ahead := max(0, min(hint/int64(d.f.frame)+1, int64(d.most)+1))
	if d.gz {
		ahead = min(ahead, gzipAhead)
	}
	return ahead
}

// read reads to the stated size, or to the end of the file.
func (d *wavSamples) read(ctx context.Context, stored *storedReader) error {
	d.volts = make([]float64, 0, d.room())
	inLargePages(d.volts)
	// a stated size that the file holds leaves nothing to look for behind the samples
	whole := !d.unknown && !d.gz && d.size <= d.textSize()-d.w.pos
	buf := make([]byte, (1<<16/d.f.frame+1)*d.f.frame)
	for d.unknown || d.got < d.size {
		if err := ctx.Err(); err != nil {
			return err
		}
		want := int64(len(buf))
		if !d.unknown {
			want = min(want, d.size-d.got)
		}
		n, err := io.ReadFull(d.w.r, buf[:want])
		d.w.pos += int64(n)
		d.got += int64(n)
		d.volts = d.f.samples(d.volts, buf[:n/d.f.frame*d.f.frame], d.ch, d.w.order)
		if len(d.volts) > d.most {
			return d.tooMany(0)
		}
		if !whole {
			d.keepTail(buf[:n])
		}
		if d.progress != nil {
			d.progress(min(stored.n, d.source.size-1), d.source.size)
		}
		if err == io.EOF || err == io.ErrUnexpectedEOF {
			d.clean = d.unknown
			return nil
		}
		if err != nil {
			return streamError(d.name, err)
		}
	}
	return nil
}

// keepTail keeps the last bytes of the data, which may be chunks behind the samples
// where the header states no size or more than there is.
func (d *wavSamples) keepTail(b []byte) {
	if d.tail = append(d.tail, b...); len(d.tail) > 2*wavTail {
		d.tail = append(d.tail[:0], d.tail[len(d.tail)-wavTail:]...)
	}
}

// cutTrailers leaves chunks behind samples out where the header states no size, or more than there is.
func (d *wavSamples) cutTrailers(t *Trace) {
	if d.unknown {
		t.assume("data size", "to the end of the file", "the header states none")
	} else if d.clean {
		return
	}
	if k := d.w.trailingChunks(d.tail); k > 0 {
		d.volts = d.volts[:max(0, min(int64(len(d.volts)), (d.got-int64(k))/int64(d.f.frame)))]
		d.got -= int64(k)
		t.assume("chunks after the samples", fmt.Sprintf("%d bytes left out", k), "what follows the samples is not sound")
	}
}

// check wants enough samples, all finite; the data begin at byte dataAt.
func (d *wavSamples) check(dataAt int64) error {
	if len(d.volts) < minSamples {
		d.w.pos = dataAt
		return d.w.fail(fmt.Sprintf("a data chunk of %d samples", len(d.volts)), fmt.Sprintf("at least %d", minSamples), "record it again")
	}
	for i, v := range d.volts {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			d.w.pos = dataAt + int64(i)*int64(d.f.frame)
			return d.w.fail(fmt.Sprintf("sample %d that is not a finite number", i+1), "finite samples", "record it again")
		}
	}
	return nil
}

// wavTail is how far from the end chunks behind the samples are looked for.
const wavTail = 4 << 20

// trailingChunks gives how many bytes at the end of tail are whole chunks, one after
// the other to its very last byte; 0 for none. Of all places from which that is so, the
// first counts, whatever the chunks are called: a megabyte of samples reads as an
// identifier and a size that ends with the file once in a hundred thousand times.
func (w *wavReader) trailingChunks(tail []byte) int {
	const head = 8 // identifier and size
	n, first := len(tail), len(tail)
	whole := make([]bool, n+1) // chunks to the end begin here
	whole[n] = true
	for k := n - head; k >= 0; k-- {
		if !identifier(tail[k : k+4]) {
			continue
		}
		size := int64(w.order.Uint32(tail[k+4:]))
		end := int64(k+head) + size
		if end > int64(n) {
			continue
		}
		if end += size & 1; end > int64(n) { // the last pad byte may be missing
			end = int64(n)
		}
		if whole[end] {
			whole[k], first = true, k
		}
	}
	return n - first
}

// identifier reports whether four bytes can name a chunk: letters, digits and other
// printable ASCII, a blank not first.
func identifier(id []byte) bool {
	for _, c := range id {
		if c < ' ' || c > '~' {
			return false
		}
	}
	return id[0] != ' '
}

// samples appends channel ch of the frames in b as fractions of full scale.
func (f *wavFormat) samples(dst []float64, b []byte, ch int, order binary.ByteOrder) []float64 {
	o, wide := ch*f.bits/8, f.bits/8
	if order == binary.BigEndian {
		b = bytes.Clone(b)
		for at := o; at+wide <= len(b); at += f.frame {
			slices.Reverse(b[at : at+wide])
		}
	}
	le := binary.LittleEndian
	for ; len(b) >= f.frame; b = b[f.frame:] {
		var v float64
		switch {
		case f.tag == wavFloat && f.bits == 32:
			v = float64(math.Float32frombits(le.Uint32(b[o:])))
		case f.tag == wavFloat:
			v = math.Float64frombits(le.Uint64(b[o:]))
		case f.bits == 8:
			v = (float64(b[o]) - 128) / 128
		case f.bits == 16:
			v = float64(int16(le.Uint16(b[o:]))) / (1 << 15)
		case f.bits == 24:
			v = float64(int32(uint32(b[o])<<8|uint32(b[o+1])<<16|uint32(b[o+2])<<24)) / (1 << 31)
		default:
			v = float64(int32(le.Uint32(b[o:]))) / (1 << 31)
		}
		dst = append(dst, v)
	}
	return dst
}

// Looking for the end of a recording's spectrum.
const (
	bandEndTop   = 0.7  // of half the rate: what ends further up may be the converter's own filter
	bandEndRatio = 0.97 // from one frequency tried to the next
	// bandEndBlock is how many bins together tell a level, and bandEndFall the share of the
	// power that is left from one block to the next where the top is no longer trusted.
	bandEndBlock = 64
	bandEndFall  = 0.25
)

// findBandEnd finds recordings that a program resampled to a higher rate, or a codec left the
// top out of: nothing is left above a sharp edge far below half the rate, where the
// converter's own filter ends. It bounds the span, and says so.
func (t *Trace) findBandEnd() {
	power := powerSpectrum(middle(t.Volts))
	if power == nil {
		return
	}
	half := float64(len(power) - 1)
	edge := bandEndTop * half
	for !endsAt(power, t.StepV, edge) {
		if edge *= bandEndRatio; edge*(edgeTo-edgeFrom) < minBand {
			return
		}
	}
	// The edge is within a fifth of that.
	level := func(from int) float64 { return upperMedian(power[from : from+bandEndBlock]) }
	end := int(0.75 * edge)
	for end+bandEndBlock < len(power) && level(end) > bandEndFall*level(end-bandEndBlock) {
		end += bandEndBlock / 4
	}
	hz := float64(end) / half * t.SampleRateHz / 2
	t.Span.HighHz = min(t.Span.HighHz, hz)
	t.caution(CautionInterpolated, fmt.Sprintf("little is left above %s, far below half of the rate: a program resampled the recording, or a codec left the top out", SI(hz, "Hz", 3)),
		"record at the rate of the converter, as PCM, and convert nothing")
}
