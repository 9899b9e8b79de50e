package capture

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
)

// headSizes are how much of the text is looked at to find the table: more
// only when the preamble is that long.
var headSizes = []int{64 << 10, 512 << 10, 4 << 20, 16 << 20}

// enoughRows is how many rows of the table the head should show.
const enoughRows = 64

// readHead gives the first n bytes of the decoded text.
func (s *source) readHead(n int) (*textHead, encoding, int, error) {
	r, _, err := s.open(false)
	if err != nil {
		return nil, 0, 0, err
	}
	peek := make([]byte, 4096)
	k, err := io.ReadFull(r, peek)
	if err != nil && !isEOF(err) {
		return nil, 0, 0, streamError(s.name, err)
	}
	peek = peek[:k]
	enc, skip, binary := detectEncoding(peek)
	if binary {
		return nil, 0, 0, &ParseError{Path: s.name, Found: "binary data", Expected: "a CSV or WAV file", Fix: "export the capture as CSV"}
	}
	text, err := enc.decode(io.MultiReader(bytes.NewReader(peek), r), min(skip, k))
	if err != nil {
		return nil, 0, 0, streamError(s.name, err)
	}
	h := &textHead{b: make([]byte, 0, min(int64(n), max(s.size*4, 4096)))}
	b, err := io.ReadAll(io.LimitReader(text, int64(n)))
	if err != nil && !isEOF(err) {
		return nil, 0, 0, streamError(s.name, err)
	}
	h.b = b
	h.eof = len(b) < n
	h.split()
	if len(h.lines) == 0 {
		if !h.eof {
			return h, enc, skip, nil
		}
		return nil, 0, 0, &ParseError{Path: s.name, Found: "no text", Expected: "rows of numbers such as 0.001,0.52"}
	}
	return h, enc, skip, nil
}

// maxHeadLine bounds a line ahead of the table and its first rows.
const maxHeadLine = 96 << 10

// tooLong gives the number of the first line beyond that bound, 0 for none.
func (h *textHead) tooLong() int {
	for _, l := range h.lines {
		if l.end-l.start > maxHeadLine {
			return l.number
		}
	}
	if n := len(h.lines); n == 0 && len(h.b) > maxHeadLine {
		return 1
	} else if n > 0 && !h.eof && len(h.b)-h.lines[n-1].end > maxHeadLine {
		return h.lines[n-1].number + 1
	}
	return 0
}

// textFile is what the first part of a text file shows.
type textFile struct {
	head *textHead
	tab  *table
	enc  encoding
	bom  int // bytes of the byte order mark
}

// openText finds the table in as much of the text as that needs.
func (s *source) openText(ctx context.Context, opt Options) (*textFile, error) {
	f := &textFile{}
	var err error
	for _, n := range headSizes {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		f.head, f.enc, f.bom, err = s.readHead(n)
		if err != nil {
			return nil, err
		}
		if line := f.head.tooLong(); line > 0 {
			return nil, &ParseError{Path: s.name, Line: line, Found: fmt.Sprintf("a line of more than %d kB", maxHeadLine>>10), Expected: "one sample per line", Fix: "swap rows and columns, or export one sample per line"}
		}
		if len(f.head.lines) == 0 {
			continue
		}
		if b := bytes.TrimSpace(f.head.b); len(b) > 1 && b[0] == '{' {
			return nil, &ParseError{Path: s.name, Line: f.head.lines[0].number, Found: "a text in braces, such as JSON", Expected: "a CSV or WAV file", Fix: "export the capture as CSV"}
		}
		f.tab, err = findTable(s.name, f.head, opt)
		if f.head.eof || err == nil && f.tab.rows >= enoughRows && !f.head.timesAlone(f.tab) {
			break
		}
	}
	return f, err
}

// body is where the table's rows begin.
func (f *textFile) body() tableStart {
	h := f.head
	first := h.lines[f.tab.first]
	bytesOfRows := h.lines[len(h.lines)-1].end - first.start
	rowsInHead := len(h.lines) - f.tab.first
	return tableStart{enc: f.enc, skip: f.bom, offset: int64(first.start), line: first.number, rowBytes: max(2, float64(bytesOfRows+1)/float64(rowsInHead))}
}

// readText reads a capture stored as text.
func (s *source) readText(ctx context.Context, opt Options) (*Trace, error) {
	f, err := s.openText(ctx, opt)
	if err != nil {
		return nil, err
	}
	h, tab := f.head, f.tab
	hd := findHeader(h, tab)
	pre := readPreamble(h, tab, hd)
	if err := tab.refuseTurns(s.name, h, hd); err != nil {
		return nil, err
	}
	if err := tab.refuseLostColumn(s.name, h, hd, opt); err != nil {
		return nil, err
	}
	stated := tab.unitsAbove(hd)
	if err := refuseTwoUnits(s.name, h, stated, opt); err != nil {
		return nil, err
	}
	if err := tab.refuseCommonFactor(s.name, h, opt); err != nil {
		return nil, err
	}
	cols := tab.data(h)
	hd.shiftNames(tab, cols)
	sc, err := findSchema(s.name, tab, hd, cols, pre, opt)
	if err != nil {
		return nil, err
	}
	t := &Trace{File: s.name, Channels: sc.names, Calibrated: true}
	ch, err := sc.pick(s.name, opt, hd.firstLine(tab))
	if err != nil {
		return nil, err
	}
	t.Channel = sc.names[ch]
	im := &importer{src: s, opt: opt, tab: tab, sc: sc, pre: pre, cols: cols, ch: ch, t: t, lone: h.loneUnits(tab, hd), above: stated[sc.volts[ch]]}
	t.Layout = tab.words(sc, f.enc, fmt.Sprintf("%s, rows from line %d", hd.where(h), h.lines[tab.first].number))
	t.assume(SettingLayout, t.Layout, "from the content")
	if n := len(hd.passed); n > 0 {
		i := hd.passed[n-1]
		t.assume("rows left out", fmt.Sprint(n), fmt.Sprintf("other than those below them, first in line %d: %q", h.lines[i].number, short(cellText(bytes.TrimSpace(h.line(i))))))
	}
	h.sayAhead(tab, t)
	im.sayChannel()
	scale, err := im.voltScale()
	if err != nil {
		return nil, err
	}
	if err := im.refuseLostPrefix(h, hd); err != nil {
		return nil, err
	}
	if err := im.refuseLostUnit(h, hd); err != nil {
		return nil, err
	}
	if err := im.checkMark(scale); err != nil {
		return nil, err
	}
	im.dropStandingTimes()
	if err := im.timeUnit(); err != nil {
		return nil, err
	}
	rec, rows, err := s.readRecord(ctx, im.rowSpec(h, hd, scale), f.body(), opt, t)
	if err != nil {
		return nil, err
	}
	if err := rows.report(s.name, rec, t); err != nil {
		return nil, err
	}
	if err := im.refuseOtherSettings(h, hd, rec, rows); err != nil {
		return nil, err
	}
	if len(rec.volts) < minSamples {
		return nil, &ParseError{Path: s.name, Line: h.lines[tab.first].number, Found: fmt.Sprintf("%d rows of numbers", len(rec.volts)), Expected: fmt.Sprintf("at least %d", minSamples), Fix: "save a longer record"}
	}
	t.Volts = rec.volts
	if err := im.refuseBareNumbers(rec.volts); err != nil {
		return nil, err
	}
	if err := im.refuseBareResults(rec.volts); err != nil {
		return nil, err
	}
	if err := im.rate(rec); err != nil {
		return nil, err
	}
	scale.apply(t)
	return t, im.finish(rows, scale)
}

// finish takes what the settings say of the instrument, checks the volts
// against them, and looks at what the samples show of themselves.
func (im *importer) finish(rows *rowsRead, scale *voltScale) error {
	t := im.t
	if err := im.checkLogic(); err != nil {
		return err
	}
	reach := extentOf(t.Volts)
	if err := im.checkAssumed(reach); err != nil {
		return err
	}
	if im.fractionsOfFullScale(scale) {
		reach = extentOf(t.Volts)
	}
	t.saySortedVolts()
	if err := im.checkTimes(); err != nil {
		return err
	}
	if err := im.checkSweep(); err != nil {
		return err
	}
	if err := im.checkDivisions(); err != nil {
		return err
	}
	im.checkPoints(rows)
	im.instrument()
	im.acquisition()
	t.Levels.ResolutionV = im.resolution(scale)
	if t.leaveOutUnfilled() {
		reach = extentOf(t.Volts)
	}
	reach, err := t.applyInstrument(im.opt, reach)
	if err != nil {
		return err
	}
	im.sayHuge(reach)
	t.findMovingMean(t.findUpsampling())
	t.sayAcquisition()
	t.findLevels(reach)
	return nil
}

// sayChannel states the channel and which rule gave its name.
func (im *importer) sayChannel() {
	t, n := im.t, len(im.sc.names)
	name, why := fmt.Sprintf("%q", t.Channel), "its name "+im.sc.nameWhy[im.ch]
	if t.Channel == "" {
		name, why = "unnamed", "the file gives no name"
	}
	if n > 1 {
		name += fmt.Sprintf(", %d of %d", im.ch+1, n)
	}
	switch {
	case im.opt.Channel != "":
		why = "given; " + why
	case n > 1:
		why = "none was chosen; " + why
	}
	t.assume(SettingChannel, name, why)
}

// where tells where names and units stand.
func (hd *header) where(h *textHead) string {
	switch {
	case len(hd.rows) == 0:
		return "no header"
	case hd.nameRows() == 0:
		return fmt.Sprintf("units in line %d", h.lines[hd.rows[0].line].number)
	}
	return fmt.Sprintf("header in line %d", h.lines[hd.rows[len(hd.rows)-1].line].number)
}

// readRecord reads the rows, once or, when the times are out of order or
// uneven, twice.
func (s *source) readRecord(ctx context.Context, spec *rowSpec, at tableStart, opt Options, t *Trace) (*record, *rowsRead, error) {
	rows, err := s.readRows(ctx, spec, at, true)
	if err != nil {
		return nil, nil, err
	}
	before := *t
	rec, err := rows.choose(s.name, spec, opt, t)
	again := *spec
	again.keepTimes = true
	switch {
	case err == nil && rec.coarse() && !spec.keepTimes:
		// The rows further down print their times more coarsely than the head.
		t.Assumptions, t.Cautions = before.Assumptions, before.Cautions
		if rows, err = s.readRows(ctx, &again, at, false); err != nil {
			return nil, nil, err
		}
		rec, err = rows.choose(s.name, &again, opt, t)
		return rec, rows, err
	case !errors.Is(err, errNeedTimes):
		return rec, rows, err
	}
	t.Assumptions, t.Cautions = before.Assumptions, before.Cautions
	if !spec.keepTimes {
		rows = nil
		if rows, err = s.readRows(ctx, &again, at, false); err != nil {
			return nil, nil, err
		}
	}
	rec, err = rows.settle(s.name, &again, opt, t)
	return rec, rows, err
}

// rowSpec tells the workers what to read.
func (im *importer) rowSpec(h *textHead, hd *header, scale *voltScale) *rowSpec {
	p := &rowSpec{delim: im.tab.delim, decimal: im.tab.decimal, eol: h.eol, cells: im.tab.cells, time: im.sc.time, volt: im.sc.volts[im.ch], seg: im.sc.seg}
	if slices.Contains(im.sc.unitBehind, p.volt) {
		p.unitCol, p.unitText = p.volt+1, im.cols[p.volt].beside
	}
	p.last = max(p.time, p.volt, p.seg, p.unitCol)
	p.blank0 = im.tab.emptyLeft && im.tab.numeric[0] == 1
	for _, j := range im.tab.numeric {
		p.cells = max(p.cells, j+1)
	}
	p.rawCells = len(splitCells(h.line(im.tab.first), p.delim, nil))
	for _, r := range hd.rows {
		p.headCells = max(p.headCells, len(r.cells))
	}
	p.voltUnit, p.voltFactor = im.cols[p.volt].unit, scale.unitFactor
	if p.time < 0 {
		return p
	}
	c := im.cols[p.time]
	p.clock, p.timeUnit = im.sc.timeClock, c.unit
	p.step = typicalStep(c.x)
	// How the first rows print their times.
	p.expMin, p.digitsMax = math.MaxInt, 1
	n := 0
	for i := im.tab.first; i < len(h.lines) && n < schemaRows; i++ {
		cells := splitCells(h.line(i), p.delim, nil)
		if p.time >= len(cells) {
			continue
		}
		if v := readCell(cells[p.time].text, p.decimal); v.numeric() {
			p.expMin = min(p.expMin, v.num.exp10)
			p.digitsMax = max(p.digitsMax, min(v.num.digits, 19))
			n++
		}
	}
	if n == 0 {
		p.expMin = 0
	}
	for _, v := range c.x {
		p.keepTimes = p.keepTimes || p.resolutionAt(v) > coarseShare*math.Abs(p.step)
	}
	return p
}

// typicalStep is the median difference from row to row where most are alike,
// else, with stamps so rounded that they repeat, the median slope across a
// quarter of the rows. Neither a gap nor a restart moves it.
func typicalStep(x []float64) float64 {
	var d []float64
	for i := 1; i < len(x); i++ {
		if v := x[i] - x[i-1]; !math.IsNaN(v) {
			d = append(d, v)
		}
	}
	if m := upperMedian(d); m != 0 {
		sum, n := 0.0, 0
		for _, v := range d {
			if math.Abs(v-m) < 0.3*math.Abs(m) {
				sum += v
				n++
			}
		}
		if 4*n >= 3*len(d) {
			return sum / float64(n)
		}
	}
	lag := max(1, len(x)/4)
	d = d[:0]
	for i := lag; i < len(x); i++ {
		if v := (x[i] - x[i-lag]) / float64(lag); !math.IsNaN(v) {
			d = append(d, v)
		}
	}
	if m := upperMedian(d); m != 0 {
		return m
	}
	// Rows shuffled, or all alike: fall back on the whole span.
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, v := range x {
		if !math.IsNaN(v) {
			lo, hi = min(lo, v), max(hi, v)
		}
	}
	if hi > lo {
		return (hi - lo) / float64(max(1, len(x)-1))
	}
	return 0
}

// report turns what the rows showed into assumptions, cautions or an error,
// and bridges missing samples.
func (o *rowsRead) report(name string, r *record, t *Trace) error {
	switch {
	case o.torn:
		t.caution(CautionTruncated, fmt.Sprintf("the compressed data ends early: %d rows read", len(o.volts)), "copy or save the file again")
	case o.cutRow != "":
		t.caution(CautionTruncated, fmt.Sprintf("the file ends inside its last row (%q), which was left out", o.cutRow), "save the record again")
	case o.open:
		t.assume("last row", "taken as whole", "it has no line end")
	}
	if o.hidden > 0 {
		t.caution(CautionSkipped, fmt.Sprintf("%d rows of numbers after a comment mark were left out, first in line %d", o.hidden, o.hidden1), "take the marks off, or save the record again")
	}
	if n := o.texts.n; n > 0 {
		if n*10 > len(o.volts) && n > 4*max(1, len(o.pieces)) && n > 20 {
			return &ParseError{Path: name, Line: o.texts.at, Column: 1, Found: fmt.Sprintf("%q and %d more lines of text among %d rows", o.texts.first, n-1, len(o.volts)), Expected: "rows of numbers", Fix: "export the capture again"}
		}
		t.assume("lines skipped", fmt.Sprint(n), fmt.Sprintf("text among or after the rows, first in line %d: %q", o.texts.at, o.texts.first))
	}
	if n := o.remarks.n; n > 0 {
		t.assume("text behind the rows", Plural(n, "row"), fmt.Sprintf("not read, first in line %d: %q", o.remarks.at, o.remarks.first))
	}
	if err := o.sayOver(name, t); err != nil {
		return err
	}
	return o.bridgeMissing(name, r, t)
}
