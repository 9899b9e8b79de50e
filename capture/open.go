package capture

import (
	"bufio"
	"bytes"
	"compress/flate"
	"compress/gzip"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"
)

// Open reads one channel of the capture at path into a Trace. The format is
// found from the content: comma- or otherwise separated text, RIFF WAVE, or
// either of them compressed with gzip. The file is opened for reading only.
// One that changes meanwhile (by size or time) is read once more, then refused:
// what was read of it may be two captures.
//
// Errors are of type *ParseError, *ChannelError (the file holds several
// channels and opt names none), or wrap the operating system's.
func Open(ctx context.Context, path string, opt Options) (*Trace, error) {
	const tries = 2
	for range tries {
		t, changed, err := openOnce(ctx, path, opt)
		if !changed || ctx.Err() != nil {
			return t, err
		}
	}
	return nil, &ParseError{Path: path, Found: "a file that changes while it is read", Expected: "a file that stays as it is", Fix: "wait until it is written, then read it again"}
}

// How coarse file systems stamp the time of a change: Linux takes the time of the last
// tick, 10 ms at most; FAT, which scopes' memory sticks have, keeps steps of two seconds.
const (
	stampGrain = 15 * time.Millisecond
	fatGrain   = 2 * time.Second
)

// unsettled is for how long a further change could bear the same time as the last.
func unsettled(written, now time.Time) time.Duration {
	grain := stampGrain
	if written.Nanosecond() == 0 && written.Second()%2 == 0 {
		grain = fatGrain
	}
	if age := now.Sub(written); age >= 0 && age < grain {
		return grain - age
	}
	return 0
}

// openOnce reads the file at path; changed tells that its size or time is not
// what it was before.
func openOnce(ctx context.Context, path string, opt Options) (t *Trace, changed bool, err error) {
	// Stat comes first: opening a FIFO would wait for its writer.
	st, err := os.Stat(path)
	if err != nil {
		return nil, false, pathError(path, err)
	}
	if err := checkKind(path, st); err != nil {
		return nil, false, err
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, false, pathError(path, err)
	}
	defer f.Close()
	time.Sleep(unsettled(st.ModTime(), time.Now()))
	if st, err = f.Stat(); err != nil {
		return nil, false, pathError(path, err)
	}
	if err := checkKind(path, st); err != nil {
		return nil, false, err
	}
	src := newSource(path, opt)
	src.at, src.size = f, st.Size()
	t, err = src.read(ctx, opt)
	if err == nil {
		t = t.printable()
	}
	after, statErr := f.Stat()
	changed = statErr == nil && (after.Size() != st.Size() || !after.ModTime().Equal(st.ModTime()) || !changedAt(after).Equal(changedAt(st)))
	return t, changed, err
}

func pathError(path string, err error) error {
	var pe *os.PathError
	if errors.As(err, &pe) {
		err = pe.Err
	}
	what := "cannot be opened: " + err.Error()
	fix := ""
	switch {
	case errors.Is(err, os.ErrNotExist):
		what, fix = "no such file", "check the name and the folder it is relative to"
	case errors.Is(err, os.ErrPermission):
		what, fix = "no permission to read it", "change its permissions"
	}
	return &ParseError{Path: path, Found: what, Fix: fix, Err: err}
}

func checkKind(path string, st os.FileInfo) error {
	const expected = "a CSV or WAV file"
	switch m := st.Mode(); {
	case m.IsDir():
		return &ParseError{Path: path, Found: "a directory", Expected: expected}
	case m&os.ModeNamedPipe != 0:
		return &ParseError{Path: path, Found: "a named pipe", Expected: expected}
	case !m.IsRegular():
		return &ParseError{Path: path, Found: "a device or socket", Expected: expected}
	case st.Size() == 0 && systemFile(path):
		return &ParseError{Path: path, Found: "a file that the system generates", Expected: expected}
	case st.Size() == 0:
		return &ParseError{Path: path, Found: "an empty file", Expected: expected, Fix: "save the capture again"}
	case strings.EqualFold(filepath.Ext(path), ".toml"):
		return &ParseError{Path: path, Found: "a bench sheet, or another file in TOML", Expected: expected, Fix: "name a capture; stillglow check reads a bench sheet"}
	}
	return nil
}

// systemFile tells files that state no size and hold no capture.
func systemFile(path string) bool {
	abs, err := filepath.Abs(path)
	return err == nil && (strings.HasPrefix(abs, "/proc/") || strings.HasPrefix(abs, "/sys/"))
}

// maxPlainReader bounds what Read holds of a reader that cannot seek.
const maxPlainReader = 1 << 30

// Read is Open for a reader; name is used in messages only. A reader that
// also is an io.ReaderAt and io.Seeker is read from its start and in place;
// any other is held in memory whole, up to 1 GiB. Errors are those of Open.
func Read(ctx context.Context, r io.Reader, name string, opt Options) (*Trace, error) {
	src := newSource(name, opt)
	if at, ok := r.(interface {
		io.ReaderAt
		io.Seeker
	}); ok {
		n, err := at.Seek(0, io.SeekEnd)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		src.at, src.size = at, n
	} else {
		b, err := io.ReadAll(io.LimitReader(r, maxPlainReader+1))
		if err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		if len(b) > maxPlainReader {
			return nil, &ParseError{Path: name, Found: "more than 1 GiB from a pipe", Expected: "a file", Fix: "save it to a file first"}
		}
		src.at, src.size = bytes.NewReader(b), int64(len(b))
	}
	if src.size == 0 {
		return nil, &ParseError{Path: name, Found: "an empty file", Expected: "a CSV or WAV file", Fix: "save the capture again"}
	}
	t, err := src.read(ctx, opt)
	if err != nil {
		return nil, err
	}
	return t.printable(), nil
}

// source is the stored bytes, readable more than once.
type source struct {
	name     string
	at       io.ReaderAt
	size     int64
	gz       bool
	sum      hash.Hash // of the stored bytes; nil: not asked for
	progress func(done, total int64)
	most     int // samples
}

// newSource is a source whose bytes and size are still to come.
func newSource(name string, opt Options) *source {
	s := &source{name: name, progress: opt.Progress}
	if !opt.NoSHA256 {
		s.sum = sha256.New()
	}
	return s
}

// DefaultMaxSamples bounds a record where Options.MaxSamples is 0: 400 MB of
// volts.
const DefaultMaxSamples = 50_000_000

// tooMany is the error of a record beyond the bound, read to line.
func (s *source) tooMany(line int) error {
	return &ParseError{Path: s.name, Line: line, Found: fmt.Sprintf("more than %d samples", s.most), Expected: "a shorter record", Fix: "cut it, or raise the limit with --max-samples, in a sheet with max_samples"}
}

// textSize is the number of bytes behind the compression as gzip's trailer
// tells it (modulo 2^32), else 0.
func (s *source) textSize() int64 {
	if !s.gz {
		return s.size
	}
	var b [4]byte
	if _, err := s.at.ReadAt(b[:], s.size-4); err != nil {
		return 0
	}
	return int64(b[0]) | int64(b[1])<<8 | int64(b[2])<<16 | int64(b[3])<<24
}

// open gives the decompressed bytes from the start. stored counts the bytes
// taken from the file; summed tells to hash them.
func (s *source) open(summed bool) (io.Reader, *storedReader, error) {
	st := &storedReader{r: io.NewSectionReader(s.at, 0, s.size)}
	if summed {
		st.sum = s.sum
	}
	if !s.gz {
		return st, st, nil
	}
	z, err := gzip.NewReader(bufio.NewReaderSize(st, 1<<16))
	if err != nil {
		return nil, nil, &ParseError{Path: s.name, Found: "a damaged gzip header", Expected: "gzip data", Fix: "copy the file again", Err: err}
	}
	return &boundedGzip{z: z, stored: st, name: s.name}, st, nil
}

func (s *source) read(ctx context.Context, opt Options) (*Trace, error) {
	if err := opt.check(); err != nil {
		return nil, fmt.Errorf("%s: %w", s.name, err)
	}
	s.most = opt.MaxSamples
	if s.most == 0 {
		s.most = DefaultMaxSamples
	}
	magic, err := s.magic()
	if err != nil {
		return nil, err
	}
	var t *Trace
	if isRIFF(magic) {
		t, err = s.readWAV(ctx, opt)
	} else {
		if what := binaryKind(magic); what != "" {
			return nil, &ParseError{Path: s.name, Found: what, Expected: "a CSV or WAV file, either of them gzipped at most", Fix: "unpack or export it first"}
		}
		t, err = s.readText(ctx, opt)
	}
	if err != nil {
		return nil, err
	}
	t.File = s.name
	if s.gz {
		t.Layout = "gzipped " + t.Layout
	}
	if s.sum != nil {
		t.SHA256 = hex.EncodeToString(s.sum.Sum(nil))
	}
	if s.progress != nil {
		s.progress(s.size, s.size)
	}
	return t, nil
}

// magic gives the first bytes, behind the compression where there is one, which
// it notes.
func (s *source) magic() ([]byte, error) {
	magic := make([]byte, 16)
	n, err := s.at.ReadAt(magic, 0)
	if err != nil && err != io.EOF {
		return nil, fmt.Errorf("%s: %w", s.name, err)
	}
	if !isGzip(magic[:n]) {
		return magic[:n], nil
	}
	s.gz = true
	r, _, err := s.open(false)
	if err != nil {
		return nil, err
	}
	magic = make([]byte, 16)
	n, err = io.ReadFull(r, magic)
	switch {
	case n == 0 && err == io.EOF:
		return nil, &ParseError{Path: s.name, Found: "gzip data that holds nothing", Expected: "a CSV or WAV file"}
	case n == 0:
		return nil, &ParseError{Path: s.name, Found: "damaged gzip data", Expected: "a CSV or WAV file", Fix: "copy the file again", Err: err}
	case isGzip(magic[:n]):
		return nil, &ParseError{Path: s.name, Found: "gzip inside gzip", Expected: "a CSV or WAV file, compressed once", Fix: "unpack it once"}
	}
	return magic[:n], nil
}

// isGzip knows gzip data by its first bytes.
func isGzip(m []byte) bool { return len(m) >= 3 && m[0] == 0x1f && m[1] == 0x8b }

// isRIFF knows the containers of WAVE data by their first bytes.
func isRIFF(m []byte) bool {
	if len(m) < 4 {
		return false
	}
	switch string(m[:4]) {
	case "RIFF", "RF64", "RIFX", "BW64":
		return true
	}
	return false
}

// binaryKind names a file that cannot be a capture, from its first bytes.
func binaryKind(m []byte) string {
	for _, k := range []struct{ magic, what string }{
		{"PK\x03\x04", "a zip archive or a spreadsheet"}, {"PK\x05\x06", "an empty zip archive"},
		{"\xd0\xcf\x11\xe0", "an old spreadsheet file"}, {"\x89PNG", "a PNG picture"}, {"\xff\xd8\xff", "a JPEG picture"},
		{"BM", ""}, {"%PDF", "a PDF document"}, {"\x89HDF", "an HDF5 file"}, {"BZh", "bzip2 data"}, {"\xfd7zXZ", "xz data"},
		{"7z\xbc\xaf", "a 7z archive"}, {"(\xb5/\xfd", "zstandard data"}, {"fLaC", "a FLAC file"}, {"OggS\x00", "an Ogg file"},
		{"\x93NUMPY", "a NumPy array file"}, {"MATLAB 5.0 MAT", "a MAT file"}, {"<html", "a web page"}, {"<!DOCTYPE", "a web page"},
		{"\x7fELF", "a program"}, {"GIF8", "a GIF picture"},
	} {
		if k.what != "" && strings.HasPrefix(string(m), k.magic) {
			return k.what
		}
	}
	switch { // text may begin like these: "FORMAT,2.0", "ID3,ID4"
	case len(m) >= 12 && string(m[:4]) == "FORM" && string(m[8:11]) == "AIF":
		return "an AIFF file"
	case len(m) >= 4 && string(m[:3]) == "ID3" && m[3] < ' ':
		return "an MP3 file"
	}
	return ""
}

// storedReader counts and hashes what is taken from the file.
type storedReader struct {
	r   io.Reader
	n   int64
	sum hash.Hash
}

func (s *storedReader) Read(p []byte) (int, error) {
	n, err := s.r.Read(p)
	s.n += int64(n)
	if s.sum != nil {
		s.sum.Write(p[:n])
	}
	return n, err
}

// Bounds against gzip bombs: captures shrink 3 to 20 times, deflate's limit
// is 1032.
const (
	gzipFree     = 8 << 20 // decompressed bytes that are never judged
	gzipMaxRatio = 100
)

// errBomb is returned by boundedGzip.
var errBomb = errors.New("expands more than 100 times")

type boundedGzip struct {
	z      *gzip.Reader
	stored *storedReader
	n      int64
	name   string
}

func (b *boundedGzip) Read(p []byte) (int, error) {
	n, err := b.z.Read(p)
	b.n += int64(n)
	if b.n > gzipFree && b.n/gzipMaxRatio > b.stored.n {
		return 0, &ParseError{Path: b.name, Found: "gzip data that expands more than 100 times", Expected: "a capture (they shrink 3 to 20 times)", Fix: "unpack it yourself if it is one", Err: errBomb}
	}
	return n, err
}

// ChannelError says that a file holds several channels and none was chosen,
// or that the chosen one is not there.
type ChannelError struct {
	Path     string   // as given
	Asked    string   // "" when none was
	Channels []string // names in the order of the file, to choose from
}

// maxNamed is how many channels a message lists.
const maxNamed = 8

// Error lists the channels, or the first of many, on one line.
func (e *ChannelError) Error() string {
	var b strings.Builder
	for i, c := range e.Channels {
		if i > 0 {
			b.WriteString(", ")
		}
		if i == maxNamed && len(e.Channels) > maxNamed+1 {
			fmt.Fprintf(&b, "and %d more", len(e.Channels)-i)
			break
		}
		fmt.Fprintf(&b, "%d %q", i+1, short(c))
	}
	if e.Asked != "" {
		return fmt.Sprintf("%s: no channel %q, expected one of: %s", e.Path, e.Asked, b.String())
	}
	return fmt.Sprintf("%s: %d channels found, expected a choice of one: %s; add --channel NAME, or channel = \"NAME\" in the sheet", e.Path, len(e.Channels), b.String())
}

// pickChannel finds the asked channel by name, then by number from 1.
func pickChannel(path, asked string, channels []string) (int, error) {
	if asked == "" {
		if len(channels) == 1 {
			return 0, nil
		}
		return 0, &ChannelError{Path: path, Channels: channels}
	}
	want := strings.TrimSpace(asked)
	for i, c := range channels {
		if c == want {
			return i, nil
		}
	}
	found := -1
	for i, c := range channels {
		if strings.EqualFold(c, want) {
			if found >= 0 {
				found = -2
				break
			}
			found = i
		}
	}
	if found >= 0 {
		return found, nil
	}
	var n int
	if _, err := fmt.Sscanf(want, "%d", &n); err == nil && fmt.Sprint(n) == want && n >= 1 && n <= len(channels) {
		return n - 1, nil
	}
	return 0, &ChannelError{Path: path, Asked: asked, Channels: channels}
}

// streamError says what went wrong while reading; its own errors pass.
func streamError(name string, err error) error {
	var pe *ParseError
	if errors.As(err, &pe) || errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return err
	}
	if errors.Is(err, gzip.ErrChecksum) || errors.Is(err, gzip.ErrHeader) {
		return &ParseError{Path: name, Found: "damaged gzip data (checksum)", Expected: "complete gzip data", Fix: "copy the file again", Err: err}
	}
	var corrupt flate.CorruptInputError
	var internal flate.InternalError
	if errors.As(err, &corrupt) || errors.As(err, &internal) {
		return &ParseError{Path: name, Found: "damaged gzip data", Expected: "complete gzip data", Fix: "copy the file again", Err: err}
	}
	return fmt.Errorf("%s: %w", name, err)
}

func isEOF(err error) bool { return err == io.EOF || err == io.ErrUnexpectedEOF }
