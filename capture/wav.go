package capture

import (
	"bytes"
	"context"
	"encoding/binary"
	"fmt"
	"io"
	"math"
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
	validBits int // of them used, left-justified: what the file states
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
	kind  string           // "RIFF", "RIFX", "RF64" or "BW64"
	f     *wavFormat       // nil until the fmt chunk is read
	// dataSize is the size of the data from the ds64 chunk, 0 or -1 unknown.
	dataSize int64
	pad      byte // behind the last chunk of an odd size, 0 as it should be
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
	w := &wavReader{name: s.name, r: r, order: binary.LittleEndian, dataSize: -1}
	if err := w.riff(); err != nil {
		return nil, err
	}
	for {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		id, size, err := w.chunk()
		if err != nil {
			return nil, err
		}
		if id != "data" {
			if err := w.beforeData(id, size); err != nil {
				return nil, err
			}
			continue
		}
		if w.f == nil {
			return nil, w.fail("a data chunk before any fmt chunk", "fmt first", "")
		}
		size, unknown := w.sizeOfData(size)
		return s.wavData(ctx, w, stored, w.f, size, unknown, w.kind, opt)
	}
}

// riff reads the header of the file.
func (w *wavReader) riff() error {
	var riff [12]byte
	if _, err := w.full(riff[:]); err != nil {
		return w.fail("a file that ends inside the RIFF header", "a RIFF WAVE file", "record or copy it again")
	}
	w.kind = string(riff[:4])
	if w.kind == "RIFX" {
		w.order = binary.BigEndian
	}
	if string(riff[8:]) != "WAVE" {
		return w.fail(fmt.Sprintf("a RIFF file of type %q", riff[8:]), `type "WAVE"`, "")
	}
	return nil
}

// chunk reads the header of the next chunk.
func (w *wavReader) chunk() (id string, size int64, err error) {
	var h [8]byte
	at := w.pos
	if n, err := w.full(h[:]); err != nil {
		if n == 0 && w.f != nil {
			return "", 0, w.fail("the end of the file", "a data chunk", "record it again")
		}
		w.pos = at
		return "", 0, w.fail("a file that ends inside a chunk header", "a fmt and a data chunk", "record or copy it again")
	}
	if id := string(w.pad) + string(h[:3]); w.pad != 0 && unpadded[id] {
		w.r = io.MultiReader(bytes.NewReader(h[7:]), w.r)
		w.pos--
		return id, int64(w.order.Uint32(h[3:])), nil
	}
	return string(h[:4]), int64(w.order.Uint32(h[4:])), nil
}

// unpadded are chunks known where a writer left out the pad byte of the one before.
var unpadded = map[string]bool{"data": true, "fmt ": true, "LIST": true, "fact": true, "bext": true, "cue ": true, "JUNK": true, "junk": true, "PEAK": true, "iXML": true, "id3 ": true}

// beforeData reads a chunk ahead of the samples; unknown ones are skipped with
// their pad byte.
func (w *wavReader) beforeData(id string, size int64) (err error) {
	switch id {
	case "ds64":
		w.dataSize, err = w.ds64(w.kind, size)
		return err
	case "fmt ":
		if w.f != nil {
			return w.fail("a second fmt chunk", "one", "")
		}
		w.f, err = w.format(size)
		return err
	}
	var pad [1]byte
	err = w.skip(size)
	if err == nil && size&1 == 1 {
		_, err = w.full(pad[:])
	}
	if w.pad = pad[0]; err != nil {
		return w.fail(fmt.Sprintf("a file that ends inside its %q chunk of %d bytes", printable(id), size), "a data chunk", "record or copy it again")
	}
	return nil
}

// sizeOfData is the size of the data chunk whose header states size; unknown
// tells that nothing does.
func (w *wavReader) sizeOfData(size int64) (bytes int64, unknown bool) {
	if w.dataSize > 0 && (size == math.MaxUint32 || size == 0) {
		return w.dataSize, false
	}
	return size, size == math.MaxUint32 || size == 0 && (w.kind == "RIFF" || w.kind == "RIFX")
}

// ds64 reads the size of the data of an RF64 file from its chunk of size bytes.
func (w *wavReader) ds64(kind string, size int64) (int64, error) {
	if kind == "RIFF" || kind == "RIFX" || size < 24 {
		return 0, w.fail(fmt.Sprintf("a ds64 chunk of %d bytes in a %s file", size, kind), "one of at least 24 bytes in an RF64 file", "")
	}
	var b [24]byte
	if _, err := w.full(b[:]); err != nil {
		return 0, w.fail("a file that ends inside the ds64 chunk", "24 bytes", "copy it again")
	}
	u := binary.LittleEndian.Uint64(b[8:])
	if u > math.MaxInt64 {
		return 0, w.fail(fmt.Sprintf("a data size of %d bytes in the ds64 chunk", u), "one below 2^63", "")
	}
	if err := w.skip(size - 24 + size&1); err != nil {
		return 0, w.fail("a file that ends inside the ds64 chunk", fmt.Sprintf("%d bytes", size), "copy it again")
	}
	return int64(u), nil
}

// format reads the fmt chunk of size bytes.
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
	if container := 8 * f.frame / max(1, f.channels); f.tag == wavPCM && container > f.bits && container <= 32 && f.bits > 8 && f.frame == f.channels*(container/8) {
		f.bits = container // 20 of 24 bits, left-justified
	}
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
	return f, w.checkFormat(f)
}

// checkFormat wants samples of a kind that is read, and figures that agree.
func (w *wavReader) checkFormat(f *wavFormat) error {
	switch {
	case f.tag == wavPCM && (f.bits == 8 || f.bits == 16 || f.bits == 24 || f.bits == 32):
	case f.tag == wavFloat && (f.bits == 32 || f.bits == 64):
	case f.tag == wavPCM || f.tag == wavFloat:
		return w.fail(fmt.Sprintf("%d bits per sample", f.bits), "8, 16, 24 or 32 (PCM), 32 or 64 (float)", "convert it to 24-bit PCM")
	default:
		return w.fail(fmt.Sprintf("audio format %d%s", f.tag, wavTagName(f.tag)), "PCM (1) or IEEE float (3)", "record without compression")
	}
	if f.channels < 1 || f.channels > wavMaxChannels {
		return w.fail(fmt.Sprintf("%d channels", f.channels), fmt.Sprintf("1 to %d", wavMaxChannels), "")
	}
	if f.rate == 0 {
		return w.fail("a sample rate of 0 Hz", "one above zero", "")
	}
	if f.frame != f.channels*f.bits/8 {
		return w.fail(fmt.Sprintf("a block of %d bytes for %d channels of %d bits", f.frame, f.channels, f.bits), fmt.Sprint(f.channels*f.bits/8), "")
	}
	if f.validBits < 1 || f.validBits > f.bits {
		return w.fail(fmt.Sprintf("%d valid of %d bits", f.validBits, f.bits), "no more valid bits than there are", "")
	}
	return nil
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

// describe sets the layout, the rate and what the samples mean: volts where
// the user gave volts at full scale, else fractions of full scale.
func (f *wavFormat) describe(t *Trace, kind string, opt Options) error {
	enc := fmt.Sprintf("%d-bit PCM", f.validBits)
	if f.float() {
		enc = fmt.Sprintf("%d-bit float", f.bits)
	}
	t.Layout = fmt.Sprintf("%s WAVE, %s, %s", kind, enc, Plural(f.channels, "channel"))
	t.assume("sample rate", SI(t.SampleRateHz, "S/s", 6), "stated in the fmt chunk")
	if opt.RateHz > 0 {
		t.SampleRateHz = opt.RateHz
		t.assume("sample rate", SI(opt.RateHz, "S/s", 6), "given; the fmt chunk's is not used")
	}
	t.assume(SettingCoupling, "AC", "sound inputs block DC; override with --coupling dc")
	t.AntiAliased = true // delta-sigma converters carry their own low-pass
	t.FullScaleMinV, t.FullScaleMaxV = -1, 1
	f.checkValid(t)
	if opt.OffsetV != 0 && opt.VoltsPerFullScale == 0 && opt.Scale == 0 {
		return &ParseError{Path: t.File, Found: fmt.Sprintf("an offset of %s for samples without volts at full scale", SI(opt.OffsetV, "V", 6)), Expected: "both", Fix: "give --volts-per-full-scale, too, or leave --offset out"}
	}
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
		t.assume("volts at full scale", SI(scale, "V", 6)+" peak", "given")
		t.sayBeyondFullScale(scale)
		if scale != 1 || opt.OffsetV != 0 {
			for i := range t.Volts {
				t.Volts[i] = t.Volts[i]*scale + opt.OffsetV
			}
		}
		t.StepV *= math.Abs(scale)
		a, b := t.FullScaleMinV*scale+opt.OffsetV, t.FullScaleMaxV*scale+opt.OffsetV
		t.FullScaleMinV, t.FullScaleMaxV = min(a, b), max(a, b)
		if opt.OffsetV != 0 {
			t.assume("offset", SI(opt.OffsetV, "V", 6)+" added", "given")
		}
	} else {
		t.assume("volt unit", "of full scale", "nothing states volts at full scale")
		t.caution(CautionUncalibrated, "no volts at full scale known: figures are relative to digital full scale", "find it with stillglow calibrate and a sine of known volts")
	}
	return nil
}

// checkValid looks whether samples of which fewer bits are valid than they hold use the
// others. They are zero where the valid ones stand left, as they must. Where every sample
// would fit into the valid bits at the right, they may stand there instead, and the samples
// be too small by a power of two; else all bits are valid, whatever the file states.
func (f *wavFormat) checkValid(t *Trace) {
	if f.float() || f.validBits == f.bits {
		return
	}
	codes, right := math.Ldexp(1, f.validBits-1), math.Ldexp(1, f.validBits-f.bits)
	used, fits := false, true
	for _, v := range t.Volts {
		used = used || v*codes != math.Trunc(v*codes)
		if fits = fits && v >= -right && v < right; used && !fits {
			break
		}
	}
	if !used {
		return
	}
	if fits {
		t.caution(CautionProbeFactor, fmt.Sprintf("the file states %d valid bits at the left of %d, but the others are used and the first are not: the samples may stand at the right, and the volts be %.0f times as high", f.validBits, f.bits, 1/right),
			"record in 16 or 24 bits, or find the volts at full scale by stillglow calibrate with a sine that this recorder has written")
	}
	f.validBits = f.bits
}

// beyondFullScale is how far, as a share, a filter behind the converter may carry float
// samples over full scale.
const beyondFullScale = 0.1

// sayBeyondFullScale doubts volts at full scale that are given for float samples which no
// converter can have given: a program scaled them, or they are volts already.
func (t *Trace) sayBeyondFullScale(scale float64) {
	e := extentOf(t.Volts)
	if most := max(e.hi, -e.lo); scale != 1 && most > 1+beyondFullScale {
		t.caution(CautionProbeFactor, fmt.Sprintf("samples up to %.3g times digital full scale, which no converter gives: a program scaled them, or they are volts already", most),
			"export the recording without gain or normalising; where the samples are volts, give volts_per_full_scale = 1 (--volts-per-full-scale)")
	}
}

// minSamples is the shortest record that is taken for a capture.
const minSamples = 16
