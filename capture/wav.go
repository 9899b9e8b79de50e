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

// RIFF WAVE as laid down in "Multimedia Programming Interface and Data
// Specifications 1.0" (Microsoft and IBM, 1991), WAVE_FORMAT_EXTENSIBLE
// (Microsoft, 2001) and RF64 (EBU Tech 3306, with the ds64 chunk; BW64 of
// ITU-R BS.2088 is laid out alike).
//
// Note: the common Go reader for audio files gives integers only, reads no
// float, extensible or RF64 data, and stops without a word where a chunk is
// longer than the file. A capture must not lose samples or get a wrong scale
// in silence, hence this reader.

const (
	wavPCM        = 1
	wavFloat      = 3
	wavExtensible = 0xFFFE
)

// wavMaxChannels bounds a believable header.
const wavMaxChannels = 1024

// wavFormat is the fmt chunk.
type wavFormat struct {
	tag       uint16
	channels  int
	rate      uint32
	bits      int // container bits per sample
	validBits int // of them used, left-justified
	frame     int // bytes of one sample of all channels
}

func (f *wavFormat) float() bool { return f.tag == wavFloat }

// guidTail is the fixed part of the extensible sub-format identifiers.
var guidTail = [14]byte{0, 0, 0, 0, 0x10, 0, 0x80, 0, 0, 0xAA, 0, 0x38, 0x9B, 0x71}

// wavReader walks the chunks of one file.
type wavReader struct {
	name  string
	r     io.Reader
	pos   int64
	order binary.ByteOrder // big-endian in a RIFX file
}

func (w *wavReader) fail(found, expected, fix string) error {
	return &ParseError{Path: w.name, Offset: w.pos, Found: found, Expected: expected, Fix: fix}
}

func (w *wavReader) full(b []byte) (int, error) {
	n, err := io.ReadFull(w.r, b)
	w.pos += int64(n)
	return n, err
}

func (w *wavReader) skip(n int64) error {
	m, err := io.CopyN(io.Discard, w.r, n)
	w.pos += m
	return err
}

func (s *source) readWAV(ctx context.Context, opt Options) (*Trace, error) {
	r, stored, err := s.open(true)
	if err != nil {
		return nil, err
	}
	w := &wavReader{name: s.name, r: r, order: binary.LittleEndian}
	var riff [12]byte
	if _, err := w.full(riff[:]); err != nil {
		return nil, w.fail("a file that ends inside the RIFF header", "a RIFF WAVE file", "record or copy it again")
	}
	kind := string(riff[:4])
	if kind == "RIFX" {
		w.order = binary.BigEndian
	}
	if string(riff[8:]) != "WAVE" {
		return nil, w.fail(fmt.Sprintf("a RIFF file of type %q", riff[8:]), `type "WAVE"`, "")
	}
	var (
		f        *wavFormat
		dataSize int64 = -1 // from ds64
	)
	for {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		var h [8]byte
		at := w.pos
		if n, err := w.full(h[:]); err != nil {
			if n == 0 && f != nil {
				return nil, w.fail("the end of the file", "a data chunk", "record it again")
			}
			w.pos = at
			return nil, w.fail("a file that ends inside a chunk header", "a fmt and a data chunk", "record or copy it again")
		}
		size := int64(w.order.Uint32(h[4:]))
		switch id := string(h[:4]); id {
		case "ds64":
			if kind == "RIFF" || kind == "RIFX" || size < 24 {
				return nil, w.fail(fmt.Sprintf("a ds64 chunk of %d bytes in a %s file", size, kind), "one of at least 24 bytes in an RF64 file", "")
			}
			var b [24]byte
			if _, err := w.full(b[:]); err != nil {
				return nil, w.fail("a file that ends inside the ds64 chunk", "24 bytes", "copy it again")
			}
			u := binary.LittleEndian.Uint64(b[8:])
			if u > math.MaxInt64 {
				return nil, w.fail(fmt.Sprintf("a data size of %d bytes in the ds64 chunk", u), "one below 2^63", "")
			}
			dataSize = int64(u)
			if err := w.skip(size - 24 + size&1); err != nil {
				return nil, w.fail("a file that ends inside the ds64 chunk", fmt.Sprintf("%d bytes", size), "copy it again")
			}
		case "fmt ":
			if f != nil {
				return nil, w.fail("a second fmt chunk", "one", "")
			}
			if f, err = w.format(size); err != nil {
				return nil, err
			}
		case "data":
			if f == nil {
				return nil, w.fail("a data chunk before any fmt chunk", "fmt first", "")
			}
			unknown := size == 0xFFFFFFFF || (size == 0 && (kind == "RIFF" || kind == "RIFX"))
			if size == 0xFFFFFFFF && dataSize >= 0 {
				size, unknown = dataSize, false
			}
			return s.wavData(ctx, w, stored, f, size, unknown, kind, opt)
		default:
			// Unknown chunks are skipped with their pad byte.
			if err := w.skip(size + size&1); err != nil {
				return nil, w.fail(fmt.Sprintf("a file that ends inside its %q chunk of %d bytes", printable(id), size), "a data chunk", "record or copy it again")
			}
		}
	}
}

func (w *wavReader) format(size int64) (*wavFormat, error) {
	if size < 16 || size > 1<<16 {
		return nil, w.fail(fmt.Sprintf("a fmt chunk of %d bytes", size), "16, 18 or 40", "")
	}
	b := make([]byte, size+size&1)
	if n, err := w.full(b); err != nil && int64(n) < size {
		return nil, w.fail("a file that ends inside the fmt chunk", fmt.Sprintf("%d bytes", size), "copy it again")
	}
	le := w.order
	f := &wavFormat{tag: le.Uint16(b), channels: int(le.Uint16(b[2:])), rate: le.Uint32(b[4:]), frame: int(le.Uint16(b[12:])), bits: int(le.Uint16(b[14:]))}
	f.validBits = f.bits
	if f.tag == wavExtensible {
		if size < 40 {
			return nil, w.fail(fmt.Sprintf("an extensible fmt chunk of %d bytes", size), "at least 40", "")
		}
		if v := int(le.Uint16(b[18:])); v != 0 {
			f.validBits = v
		}
		f.tag = le.Uint16(b[24:])
		if [14]byte(b[26:40]) != guidTail {
			return nil, w.fail("an extensible sub-format that is neither PCM nor float", "PCM or IEEE float", "convert it to PCM")
		}
	}
	switch {
	case f.tag == wavPCM && (f.bits == 8 || f.bits == 16 || f.bits == 24 || f.bits == 32):
	case f.tag == wavFloat && (f.bits == 32 || f.bits == 64):
	case f.tag == wavPCM || f.tag == wavFloat:
		return nil, w.fail(fmt.Sprintf("%d bits per sample", f.bits), "8, 16, 24 or 32 (PCM), 32 or 64 (float)", "convert it to 24-bit PCM")
	default:
		return nil, w.fail(fmt.Sprintf("audio format %d%s", f.tag, wavTagName(f.tag)), "PCM (1) or IEEE float (3)", "record without compression")
	}
	if f.channels < 1 || f.channels > wavMaxChannels {
		return nil, w.fail(fmt.Sprintf("%d channels", f.channels), fmt.Sprintf("1 to %d", wavMaxChannels), "")
	}
	if f.rate == 0 {
		return nil, w.fail("a sample rate of 0 Hz", "one above zero", "")
	}
	if f.frame != f.channels*f.bits/8 {
		return nil, w.fail(fmt.Sprintf("a block of %d bytes for %d channels of %d bits", f.frame, f.channels, f.bits), fmt.Sprint(f.channels*f.bits/8), "")
	}
	if f.validBits < 1 || f.validBits > f.bits {
		return nil, w.fail(fmt.Sprintf("%d valid of %d bits", f.validBits, f.bits), "no more valid bits than there are", "")
	}
	return f, nil
}

func wavTagName(tag uint16) string {
	switch tag {
	case 2, 17:
		return " (ADPCM)"
	case 6:
		return " (A-law)"
	case 7:
		return " (mu-law)"
	case 0x55:
		return " (MP3)"
	}
	return ""
}

func printable(s string) string {
	b := []byte(s)
	for i, c := range b {
		if c < 32 || c > 126 {
			b[i] = '?'
		}
	}
	return string(b)
}

// wavChannelNames gives left and right for two, numbers for more.
func wavChannelNames(n int) []string {
	switch n {
	case 1:
		return []string{"mono"}
	case 2:
		return []string{"left", "right"}
	}
	c := make([]string, n)
	for i := range c {
		c[i] = fmt.Sprintf("channel %d", i+1)
	}
	return c
}

// wavData reads the samples of the chosen channel as fractions of full scale.
func (s *source) wavData(ctx context.Context, w *wavReader, stored *storedReader, f *wavFormat, size int64, unknown bool, kind string, opt Options) (*Trace, error) {
	t := &Trace{File: s.name, Coupling: CouplingAC, Channels: wavChannelNames(f.channels), TimeUnit: "samples", VoltUnit: "full scale", SampleRateHz: float64(f.rate)}
	ch, err := (&schema{names: t.Channels}).pick(s.name, opt, 0)
	if err != nil {
		return nil, err
	}
	if f.channels > 1 {
		t.Channel = t.Channels[ch]
	}
	t.assume("channel", fmt.Sprintf("%q, %d of %d", t.Channels[ch], ch+1, f.channels), "the order in the file")
	if size == 0 && !unknown {
		return nil, w.fail("a data chunk without samples", "at least 16 samples", "record it again")
	}
	// A header may promise more than there is: never allocate by it alone.
	left := s.textSize() - w.pos
	if s.gz && left < 0 {
		left = 0
	}
	hint := left
	if !unknown {
		hint = min(size, left)
	}
	ahead := max(0, min(hint/int64(f.frame)+1, int64(s.most)+1))
	if s.gz {
		ahead = min(ahead, gzipAhead)
	}
	volts := make([]float64, 0, ahead)
	var tail []byte // the last bytes, where chunks may follow samples of unknown number
	buf := make([]byte, (1<<16/f.frame+1)*f.frame)
	read, clean := int64(0), true
	dataAt := w.pos
	for unknown || read < size {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		want := int64(len(buf))
		if !unknown {
			want = min(want, size-read)
		}
		n, err := io.ReadFull(w.r, buf[:want])
		w.pos += int64(n)
		read += int64(n)
		volts = f.samples(volts, buf[:n/f.frame*f.frame], ch, w.order)
		if len(volts) > s.most {
			return nil, s.tooMany(0)
		}
		if unknown {
			if tail = append(tail, buf[:n]...); len(tail) > 2*wavTail {
				tail = append(tail[:0], tail[len(tail)-wavTail:]...)
			}
		}
		if s.progress != nil {
			s.progress(min(stored.n, s.size-1), s.size)
		}
		if err == io.EOF || err == io.ErrUnexpectedEOF {
			clean = unknown
			break
		}
		if err != nil {
			return nil, streamError(s.name, err)
		}
	}
	if unknown {
		t.assume("data size", "to the end of the file", "the header states none")
		if k := w.trailingChunks(tail); k > 0 {
			volts = volts[:max(0, min(int64(len(volts)), (read-int64(k))/int64(f.frame)))]
			read = int64(len(volts)) * int64(f.frame)
			t.assume("chunks behind the samples", fmt.Sprintf("%d bytes left out", k), "the end of the file is no samples")
		}
	}
	if len(volts) < minSamples {
		w.pos = dataAt
		return nil, w.fail(fmt.Sprintf("a data chunk of %d samples", len(volts)), fmt.Sprintf("at least %d", minSamples), "record it again")
	}
	for i, v := range volts {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			w.pos = dataAt + int64(i)*int64(f.frame)
			return nil, w.fail(fmt.Sprintf("sample %d that is no finite number", i+1), "finite samples", "record it again")
		}
	}
	if !clean {
		t.caution(CautionTruncated, fmt.Sprintf("the data chunk states %d bytes, the file holds %d: read what is there", size, read), "record or copy it again")
	} else if read%int64(f.frame) != 0 {
		t.caution(CautionTruncated, "the data ends inside a sample, which was left out", "record or copy it again")
	}
	// The rest is read for the checksum only.
	if _, err := io.Copy(io.Discard, w.r); err != nil && !isEOF(err) {
		return nil, streamError(s.name, err)
	}
	t.Volts = volts
	f.describe(t, kind, opt)
	if err := t.applyInstrument(opt); err != nil {
		return nil, err
	}
	t.Levels.ResolutionV = t.StepV
	t.findLevels()
	return t, nil
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

// chain tells whether b is whole chunks to its end.
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

// describe sets the layout, the rate and what the samples mean: volts where
// the user gave volts per full scale, else fractions of full scale.
func (f *wavFormat) describe(t *Trace, kind string, opt Options) {
	enc := fmt.Sprintf("%d-bit PCM", f.validBits)
	if f.float() {
		enc = fmt.Sprintf("%d-bit float", f.bits)
	}
	t.Layout = fmt.Sprintf("%s WAVE, %s, %d channel%s", kind, enc, f.channels, plural(f.channels))
	t.assume("sample rate", SI(t.SampleRateHz, "Hz", 6), "stated in the fmt chunk")
	if opt.RateHz > 0 {
		t.SampleRateHz = opt.RateHz
		t.assume("sample rate", SI(opt.RateHz, "Hz", 6), "given; the fmt chunk's is not used")
	}
	t.assume("coupling", "ac", "sound inputs block DC; override with --coupling dc")
	t.AntiAliased = true // delta-sigma converters carry their own low-pass
	t.FullScaleMinV, t.FullScaleMaxV = -1, 1
	if !f.float() {
		t.StepV = math.Ldexp(1, 1-f.validBits)
		t.FullScaleMaxV = 1 - t.StepV
	}
	scale := opt.VoltsPerFullScale
	if scale == 0 {
		scale = opt.Scale
	}
	if scale != 0 {
		t.Calibrated = true
		t.assume("volts per full scale", SI(scale, "V", 6)+" peak", "given")
		if scale != 1 || opt.OffsetV != 0 {
			for i := range t.Volts {
				t.Volts[i] = t.Volts[i]*scale + opt.OffsetV
			}
		}
		t.StepV *= math.Abs(scale)
		a, b := t.FullScaleMinV*scale+opt.OffsetV, t.FullScaleMaxV*scale+opt.OffsetV
		t.FullScaleMinV, t.FullScaleMaxV = min(a, b), max(a, b)
	} else {
		t.assume("volt unit", "of full scale", "nothing states volts per full scale")
		t.caution(CautionUncalibrated, "no volts per full scale known: figures are relative to digital full scale", "find it with stillglow calibrate and a sine of known volts")
	}
}

// minSamples is the shortest record that is taken for a capture.
const minSamples = 16

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

func plural(n int) string {
	if n == 1 {
		return ""
	}
	return "s"
}
