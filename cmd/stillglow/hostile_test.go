package main

import (
	"bytes"
	"compress/flate"
	"compress/gzip"
	"context"
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"stillglow/capture/synth/testrun"
)

// hostileFile is a file that must do no harm: the run either reads it or says
// in one line why not.
type hostileFile struct {
	name string
	data []byte
	// mustFail: there is no honest way to read it.
	mustFail bool
}

// goodCSV is a sound capture that the hostile ones are made from.
func goodCSV(rows int) []byte {
	var b bytes.Buffer
	b.WriteString("time (s),volts (V)\n")
	for i := range rows {
		fmt.Fprintf(&b, "%.6e,%.5f\n", float64(i)*1e-6, 7+0.01*math.Sin(float64(i)*0.3))
	}
	return b.Bytes()
}

// wavFile builds a RIFF/WAVE file with the header fields as told, however wrong.
func wavFile(format, channels uint16, rate uint32, align, bits uint16, dataSize uint32, payload []byte) []byte {
	var b bytes.Buffer
	le := binary.LittleEndian
	put := func(v any) { _ = binary.Write(&b, le, v) }
	b.WriteString("RIFF")
	put(uint32(36 + len(payload)))
	b.WriteString("WAVEfmt ")
	put(uint32(16))
	put(format)
	put(channels)
	put(rate)
	put(rate * uint32(align))
	put(align)
	put(bits)
	b.WriteString("data")
	put(dataSize)
	b.Write(payload)
	return b.Bytes()
}

func gzipped(data []byte) []byte {
	var b bytes.Buffer
	z, _ := gzip.NewWriterLevel(&b, gzip.BestCompression)
	_, _ = z.Write(data)
	_ = z.Close()
	return b.Bytes()
}

// gzipBomb unpacks to size bytes of one character, size a multiple of 1 MB and 2 MB at
// least: what comes after the first MB is compressed once and laid down again and again,
// since it says the same each time, of the same bytes ahead of it.
func gzipBomb(size int, fill string) []byte {
	const piece = 1 << 20
	text := bytes.Repeat([]byte(fill), piece)
	var b bytes.Buffer
	z, _ := flate.NewWriter(&b, flate.BestCompression)
	lay := func() []byte {
		from := b.Len()
		_, _ = z.Write(text)
		_ = z.Flush()
		return b.Bytes()[from:]
	}
	body := append([]byte("\x1f\x8b\x08\x00\x00\x00\x00\x00\x00\xff"), lay()...)
	again := lay()
	check := crc32.NewIEEE()
	_, _ = check.Write(text)
	for n := piece; n < size; n += piece {
		body = append(body, again...)
		_, _ = check.Write(text)
	}
	body = append(body, 1, 0, 0, 0xff, 0xff) // the last block, of nothing
	body = binary.LittleEndian.AppendUint32(body, check.Sum32())
	return binary.LittleEndian.AppendUint32(body, uint32(size))
}

func hostileFiles() []hostileFile {
	var files []hostileFile
	add := func(name string, data []byte, mustFail bool) {
		files = append(files, hostileFile{name, data, mustFail})
	}

	csv := goodCSV(300)
	wav := wavFile(1, 1, 48000, 2, 16, 4000, bytes.Repeat([]byte{1, 2, 3, 4}, 1000))
	gz := gzipped(csv)

	// Cut at every structure.
	for n := 0; n <= 44; n++ {
		add(fmt.Sprintf("cut-wav-%02d.wav", n), wav[:n], true)
	}
	for n := 0; n <= 40; n++ {
		add(fmt.Sprintf("cut-csv-%02d.csv", n), csv[:n], true)
	}
	for n := 0; n < 30; n++ {
		add(fmt.Sprintf("cut-gz-%02d.csv.gz", n), gz[:n], true)
	}
	for i := 1; i < 10; i++ {
		add(fmt.Sprintf("cut-gz-deep-%d.csv.gz", i), gz[:len(gz)*i/10], false)
	}

	// Lying WAV headers.
	pay := bytes.Repeat([]byte{0, 1, 0, 255}, 500)
	for _, size := range []uint32{0, 1, 3, 1 << 31, 1<<31 - 1, math.MaxUint32, math.MaxUint32 - 1} {
		add(fmt.Sprintf("wav-size-%d.wav", size), wavFile(1, 1, 48000, 2, 16, size, pay), size == 1)
	}
	for _, rate := range []uint32{0, 1, math.MaxUint32} {
		add(fmt.Sprintf("wav-rate-%d.wav", rate), wavFile(1, 1, rate, 2, 16, 2000, pay), rate == 0)
	}
	for _, ch := range []uint16{0, math.MaxUint16} {
		add(fmt.Sprintf("wav-channels-%d.wav", ch), wavFile(1, ch, 48000, 2*ch, 16, 2000, pay), true)
	}
	for _, bits := range []uint16{0, 1, 7, 9, 12, 17, 33, 64, 65, 128, math.MaxUint16} {
		add(fmt.Sprintf("wav-bits-%d.wav", bits), wavFile(1, 1, 48000, 2, bits, 2000, pay), bits != 12 && bits != 9)
	}
	for _, align := range []uint16{0, 1, 3, math.MaxUint16} {
		add(fmt.Sprintf("wav-align-%d.wav", align), wavFile(1, 1, 48000, align, 16, 2000, pay), false)
	}
	for _, format := range []uint16{0, 2, 6, 7, 0x55, 0xFFFE, 0xFFFF} {
		add(fmt.Sprintf("wav-format-%x.wav", format), wavFile(format, 1, 48000, 2, 16, 2000, pay), true)
	}
	nan := make([]byte, 4000)
	for i := 0; i < len(nan); i += 4 {
		binary.LittleEndian.PutUint32(nan[i:], math.Float32bits(float32(math.NaN())))
	}
	add("wav-float-nan.wav", wavFile(3, 1, 48000, 4, 32, 4000, nan), true)
	inf := bytes.Clone(nan)
	for i := 0; i < len(inf); i += 4 {
		binary.LittleEndian.PutUint32(inf[i:], math.Float32bits(float32(math.Inf(1))))
	}
	add("wav-float-inf.wav", wavFile(3, 1, 48000, 4, 32, 4000, inf), true)
	rf64 := bytes.Clone(wav)
	copy(rf64, "RF64")
	add("rf64-without-ds64.wav", rf64, false)
	huge := append([]byte("RF64\xff\xff\xff\xffWAVEds64\x1c\x00\x00\x00"), bytes.Repeat([]byte{0xff}, 28)...)
	add("rf64-size-2-63.wav", append(huge, wav[12:]...), false)
	fmtHuge := bytes.Clone(wav)
	binary.LittleEndian.PutUint32(fmtHuge[16:], math.MaxUint32)
	add("wav-fmt-chunk-4g.wav", fmtHuge, true)

	// CSV that lies or rambles.
	for name, row := range map[string]string{
		"nan-rate": "NaN,1\n", "inf-time": "Inf,1\n", "same-time": "1,1\n", "all-nan": "0,NaN\n",
		"text": "to be, or not\n", "one-column-text": "word\n", "quotes": "\"\"\"\"\"\"\n", "open-quote": "\"1,2\n",
		"nul": "\x00,\x00\n", "commas": ",,,,,,,,,\n", "huge-number": "1e999,1e999\n", "tiny-number": "1e-999,1\n",
		"long-digits": strings.Repeat("9", 400) + ",1\n", "hex": "0x10,0x20\n", "minus": "-,-\n", "dots": ".,.\n",
		"binary": "\xff\xfe\xfd\xfc\xfb\n", "html": "<html><body>not found</body></html>\n", "json": "{\"a\":[1,2]}\n",
		"spaces": "     \n", "semicolons": ";;;;\n", "plus": "+,+\n", "e": "e,e\n", "emoji": "🔥,🔥\n",
	} {
		add("rows-"+name+".csv", []byte(strings.Repeat(row, 400)), true)
	}
	for _, v := range []string{"1e308", "-1e308", "1e-320", "2147483648", "9223372036854775808"} {
		var b strings.Builder
		for i := range 400 {
			fmt.Fprintf(&b, "%d,%s\n", i, v)
		}
		add("volts-"+v+".csv", []byte(b.String()), false)
	}
	add("one-cell-1mb.csv", bytes.Repeat([]byte("7"), 1<<20), true)
	add("quotes-1mb.csv", bytes.Repeat([]byte("\""), 1<<20), true)
	add("newlines-1mb.csv", bytes.Repeat([]byte("\n"), 1<<20), true)
	add("cr-1mb.csv", bytes.Repeat([]byte("\r"), 1<<20), true)
	add("comments-1mb.csv", bytes.Repeat([]byte("# note\n"), 1<<17), true)
	add("zeros-1mb.bin", make([]byte, 1<<20), true)
	add("preamble-only.csv", []byte("Record Length,1000000\nSample Interval,1e-9\n"), true)
	add("rate-zero.csv", append([]byte("Sample Rate,0\n"), []byte(strings.Repeat("1.0\n2.0\n", 200))...), true)
	add("rate-nan.csv", append([]byte("Sample Rate,NaN\n"), []byte(strings.Repeat("1.0\n2.0\n", 200))...), true)
	add("time-backwards.csv", []byte("3,1\n2,1\n1,1\n0,1\n"), true)
	add("one-line-1mb.csv", bytes.Repeat([]byte("1,"), 1<<19), true)
	add("utf16-odd.csv", append([]byte{0xff, 0xfe}, bytes.Repeat([]byte{0x31, 0x00, 0x2c}, 333)...), true)
	add("utf16-half.csv", append([]byte{0xfe, 0xff}, bytes.Repeat([]byte{0xd8, 0x00}, 400)...), true)

	// Gzip bombs, gzip in gzip, gzip of a WAV with a lie.
	add("bomb-zeros.csv.gz", gzipBomb(256<<20, "0"), true)
	add("bomb-newlines.csv.gz", gzipBomb(256<<20, "\n"), true)
	add("bomb-commas.csv.gz", gzipBomb(64<<20, ","), true)
	add("gzip-in-gzip.csv.gz", gzipped(gzipped(csv)), false)
	add("gzip-of-nothing.csv.gz", gzipped(nil), true)
	add("gzip-of-wav-lie.wav.gz", gzipped(wavFile(1, 1, 48000, 2, 16, math.MaxUint32, pay)), false)
	broken := bytes.Clone(gz)
	broken[len(broken)-6] ^= 0xff // its checksum
	add("gzip-bad-checksum.csv.gz", broken, false)

	// Names that want to get out.
	add("=cmd()|x.csv", csv, false)
	add("<script>alert(1)<.csv", csv, false)
	add("\u202egnp.csv", csv, false)
	add(strings.Repeat("n", 240)+".csv", csv, false)
	return files
}

// TestHostileCaptures runs the whole command on files made to break it.
func TestHostileCaptures(t *testing.T) {
	dir := t.TempDir()
	files := hostileFiles()
	if len(files) < 200 {
		t.Fatalf("%d hostile files, want at least 200", len(files))
	}
	for _, f := range testrun.Some(files, 3) {
		path := filepath.Join(dir, f.name)
		if err := os.WriteFile(path, f.data, 0o644); err != nil {
			t.Fatal(err)
		}
		runHostile(t, f.name, f.mustFail, "measure", "--json", path)
	}
}

// A file of more channels than any instrument's asks for one, rather than be read anew for
// each.
func TestChannelsAreBounded(t *testing.T) {
	for _, c := range []struct{ channels, want int }{{mostChannels, exitDone}, {mostChannels + 1, exitError}} {
		var b strings.Builder
		b.WriteString("time (s)")
		for ch := range c.channels {
			fmt.Fprintf(&b, ",CH%d (V)", ch+1)
		}
		for i := range 40 {
			fmt.Fprintf(&b, "\n%.6f", float64(i)*1e-6)
			for ch := range c.channels {
				fmt.Fprintf(&b, ",%d.5", (i*i+ch)%7)
			}
		}
		path := filepath.Join(t.TempDir(), "wide.csv")
		if err := os.WriteFile(path, []byte(b.String()), 0o644); err != nil {
			t.Fatal(err)
		}
		var out, errs bytes.Buffer
		if code := run(context.Background(), []string{"measure", "--json", path}, nil, &out, &errs); code != c.want {
			t.Errorf("%d channels: %d, %s", c.channels, code, errs.String())
		}
		if c.want == exitError && !strings.Contains(errs.String(), "expected a choice of one") {
			t.Errorf("%s", errs.String())
		}
	}
}

// TestHostilePlaces runs it on things that are no files at all.
func TestHostilePlaces(t *testing.T) {
	dir := t.TempDir()
	join := func(name string) string { return filepath.Join(dir, name) }
	if err := os.Mkdir(join("folder.csv"), 0o755); err != nil {
		t.Fatal(err)
	}
	places := []string{"missing.csv", "folder.csv"}
	if os.Symlink("loop-b.csv", join("loop-a.csv")) == nil && os.Symlink("loop-a.csv", join("loop-b.csv")) == nil {
		places = append(places, "loop-a.csv")
	}
	if makeFIFO(join("fifo.csv")) {
		places = append(places, "fifo.csv")
	}
	if runtime.GOOS != "windows" && os.Geteuid() != 0 {
		if err := os.WriteFile(join("unreadable.csv"), goodCSV(50), 0); err != nil {
			t.Fatal(err)
		}
		places = append(places, "unreadable.csv")
	}
	for _, name := range places {
		for _, command := range []string{"measure", "rank", "report"} {
			runHostile(t, command+" "+name, true, command, join(name))
		}
	}
	if runtime.GOOS == "linux" {
		runHostile(t, "/dev/zero", true, "measure", "/dev/zero")
		runHostile(t, "/proc/self/mem", true, "measure", "/proc/self/mem")
	}
}

// TestHostileWhileWritten measures a file that another process still writes.
func TestHostileWhileWritten(t *testing.T) {
	path := filepath.Join(t.TempDir(), "growing.csv")
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	stop := make(chan struct{})
	stopped := make(chan struct{})
	go func() {
		defer close(stopped)
		defer f.Close()
		data := goodCSV(20000)
		for off := 0; off < len(data); off += 777 {
			select {
			case <-stop:
				return
			default:
			}
			if _, err := f.Write(data[off:min(off+777, len(data))]); err != nil {
				return
			}
		}
	}()
	times := 5
	if testrun.Full() {
		times = 20
	}
	for range times {
		runHostile(t, "growing", false, "measure", "--json", path)
	}
	close(stop)
	<-stopped
}

// runHostile runs one command in this process and holds it to the promise: one
// line on standard error when it fails, at most 200 MB, no panic. What it takes is
// printed; a hang ends with go test's own limit, which shows where.
func runHostile(t *testing.T, name string, mustFail bool, args ...string) {
	t.Helper()
	var out, errs bytes.Buffer
	var before, after runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	start := time.Now()
	code := run(context.Background(), args, strings.NewReader(""), &out, &errs)
	t.Logf("%s: took %v", name, time.Since(start))
	runtime.ReadMemStats(&after)
	// What is allocated in all bounds from above what was ever held at once; a
	// streaming reader may turn over more, so only the excess is looked at.
	memory := int64(200 << 20)
	if raceEnabled {
		memory *= 3 // the detector's own shadow of the heap
	}
	if grown := int64(after.Sys) - int64(before.Sys); grown > memory {
		t.Errorf("%s: grew by %d MB", name, grown>>20)
	}
	switch code {
	case exitDone:
		if mustFail {
			t.Errorf("%s: was read: %.200s", name, out.String())
		}
	case exitError:
		if !oneClearLine(errs.String()) {
			t.Errorf("%s: want one clear line, got %q", name, errs.String())
		}
	default:
		t.Errorf("%s: exit %d: %s", name, code, errs.String())
	}
}

// oneClearLine reports whether text is one line that names the program and says
// something.
func oneClearLine(text string) bool {
	line, rest, ended := strings.Cut(text, "\n")
	return ended && rest == "" && strings.HasPrefix(line, "stillglow: ") && len(line) > len("stillglow: ")+10 && len(line) < 2000
}
