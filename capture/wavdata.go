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
	// The rest is read for the checksum only.
	if _, err := io.Copy(io.Discard, w.r); err != nil && !isEOF(err) {
		return nil, streamError(s.name, err)
	}
	t.Volts = d.volts
	if err := f.describe(t, kind, opt); err != nil {
		return nil, err
	}
	t.leaveOutUnfilled()
	reach, err := t.applyInstrument(opt)
	if err != nil {
		return nil, err
	}
	t.Levels.ResolutionV = t.StepV
	t.findLevels(reach)
	return t, nil
}

// textOnly refuses options that would change what a text file says, and that a
// WAV has no place for: to pass over them would leave a figure as it was
// without a word.
func textOnly(name string, opt Options) error {
	switch {
	case opt.VoltUnit != "":
		return &ParseError{Path: name, Found: fmt.Sprintf("--volt-unit %s for a WAV, whose samples are fractions of full scale", opt.VoltUnit), Expected: "volts per full scale", Fix: "give --volts-per-full-scale instead"}
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
	tail    []byte // the last bytes, where chunks may follow samples of unknown number
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
		d.keepTail(buf[:n])
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

// keepTail keeps the last bytes of a chunk of unknown size.
func (d *wavSamples) keepTail(b []byte) {
	if !d.unknown {
		return
	}
	if d.tail = append(d.tail, b...); len(d.tail) > 2*wavTail {
		d.tail = append(d.tail[:0], d.tail[len(d.tail)-wavTail:]...)
	}
}

// cutTrailers leaves chunks behind samples of unknown number out.
func (d *wavSamples) cutTrailers(t *Trace) {
	if !d.unknown {
		return
	}
	t.assume("data size", "to the end of the file", "the header states none")
	if k := d.w.trailingChunks(d.tail); k > 0 {
		d.volts = d.volts[:max(0, min(int64(len(d.volts)), (d.got-int64(k))/int64(d.f.frame)))]
		d.got = int64(len(d.volts)) * int64(d.f.frame)
		t.assume("chunks behind the samples", fmt.Sprintf("%d bytes left out", k), "what follows the samples is no sound")
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
const wavTail = 1 << 20

// wavTrailers are chunks that recorders write behind the samples.
var wavTrailers = [...]string{"LIST", "id3 ", "ID3 ", "bext", "iXML", "cue ", "fact", "smpl", "inst", "JUNK", "junk", "PAD ", "FLLR", "levl", "afsp", "DISP", "umid", "plst", "labl", "note", "_PMX", "axml", "chna", "SAUR", "minf", "elm1", "regn"}

// trailingChunks gives how many bytes at the end of tail are whole chunks, one
// after the other to its very end; 0 for none.
func (w *wavReader) trailingChunks(tail []byte) int {
	for _, id := range wavTrailers {
		for from := 0; ; {
			k := bytes.Index(tail[from:], []byte(id))
			if k < 0 {
				break
			}
			from += k
			if w.chain(tail[from:]) {
				return len(tail) - from
			}
			from++
		}
	}
	return 0
}

// chain reports whether b is whole chunks to its end.
func (w *wavReader) chain(b []byte) bool {
	for len(b) >= 8 {
		if printable(string(b[:4])) != string(b[:4]) {
			return false
		}
		size := int64(w.order.Uint32(b[4:]))
		if size > int64(len(b)-8) {
			return false
		}
		if size += size & 1; size >= int64(len(b)-8) {
			return true
		}
		b = b[8+size:]
	}
	return false
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
