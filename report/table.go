package report

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/jedib0t/go-pretty/v6/text"

	"stillglow/analysis/target"
)

// TableOptions shape the terminal's table. The zero value is 100 columns
// without colour.
type TableOptions struct {
	Width  int  // columns of the terminal, 0: 100; below 30 counts as 30
	Colour bool // ANSI colour for the verdicts
	// RankingOnly leaves out the sentences, the brands and the notes, for a
	// screen that is drawn again and again.
	RankingOnly bool
}

// column is one column of the ranking; the smaller rank, the longer it stays
// when the terminal is narrow.
type column struct {
	head  string
	right bool
	keep  int
	cells []string
	width int
}

// verdictColours are ANSI foregrounds; the verdict is also told by shape and word.
var verdictColours = map[target.Verdict]string{
	target.Pass:     "\x1b[32m",
	target.NearMiss: "\x1b[33m",
	target.Fail:     "\x1b[31m",
	target.Open:     "\x1b[36m",
	target.Retake:   "\x1b[35m",
}

// width is that of the terminal in columns: 100 where it is not known, at least 30.
func (o TableOptions) width() int {
	if o.Width == 0 {
		return 100
	}
	return max(o.Width, 30)
}

// markInvented begins a text on made-up data with the banner.
func markInvented(b *strings.Builder, invented bool, width int) {
	if invented {
		wrapTo(b, InventedBanner, width)
		b.WriteByte('\n')
	}
}

// WriteTable writes the ranking for a terminal: the finding in words, one row
// per unit, the brands. No line is wider than opt.Width; where columns do not
// fit, the less important ones go.
func WriteTable(w io.Writer, r *Report, opt TableOptions) error {
	width := opt.width()
	var b strings.Builder
	markInvented(&b, r.Invented, width)
	if opt.RankingOnly {
		if len(r.Units) > 0 {
			writeColumns(&b, fit(rankingColumns(r), width, 2), verdictCells(r, opt.Colour))
		}
		_, err := io.WriteString(w, b.String())
		return err
	}
	a := r.Answer()
	for _, s := range a.sentences() {
		wrapTo(&b, s, width)
	}
	b.WriteByte('\n')
	if len(r.Units) > 0 {
		writeColumns(&b, fit(rankingColumns(r), width, 2), verdictCells(r, opt.Colour))
		b.WriteString(reasons(r, width))
	}
	if len(r.Brands) > 0 {
		b.WriteByte('\n')
		writeColumns(&b, fit(brandColumns(r), width, 0), nil)
		if words := r.brandNote(); words != "" {
			wrapTo(&b, words, width)
		}
	}
	if len(a.Watch) > 0 {
		b.WriteByte('\n')
		for _, s := range a.Watch {
			wrapTo(&b, "note: "+s, width)
		}
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// reasons say of each unit that doesn't pass why, and of each that can't carry the
// heaters that it can't; "" where there is nothing to say.
func reasons(r *Report, width int) string {
	var b strings.Builder
	for i := range r.Units {
		e := &r.Units[i].Eval
		name := isolate(shorten(unitName(e.Unit), 60)) + ": "
		if e.Why != "" && e.Verdict != target.Pass {
			wrapTo(&b, name+clean(e.Why), width)
		}
		for _, s := range e.ShownWords() {
			wrapTo(&b, name+"read "+clean(s), width)
		}
		if over := overload(e); over != "" {
			wrapTo(&b, name+"overloaded: "+over, width)
		}
	}
	if b.Len() == 0 {
		return ""
	}
	return "\n" + b.String()
}

func rankingColumns(r *Report) []column {
	rank := column{head: "#", right: true, keep: 1}
	verdict := column{head: "verdict", keep: 0}
	unit := column{head: "unit", keep: 0}
	margin := column{head: "worst margin", right: true, keep: 2}
	on := column{head: "set by", keep: 5}
	volts := column{head: "DC", right: true, keep: 8}
	dropper := column{head: "dropper", keep: 9}
	for i := range r.Units {
		u := &r.Units[i]
		e := &u.Eval
		rank.cells = append(rank.cells, rankText(r, i))
		verdict.cells = append(verdict.cells, shape(e.Verdict)+" "+string(e.Verdict))
		unit.cells = append(unit.cells, unitName(e.Unit))
		if m := worstMargin(e); m != nil {
			margin.cells = append(margin.cells, marginText(m))
			on.cells = append(on.cells, shortName(m.Limit))
		} else {
			margin.cells = append(margin.cells, "-")
			on.cells = append(on.cells, "-")
		}
		volts.cells = append(volts.cells, dash(e.LoadedV, "V"))
		if a, part := bestPart(u.Plan); part != nil {
			dropper.cells = append(dropper.cells, partText(a, part))
		} else {
			dropper.cells = append(dropper.cells, "-")
		}
	}
	cols := []column{rank, verdict, unit, margin, on}
	if col, ok := commonColumn(r, 5); ok {
		cols = append(cols, col)
	}
	for i, c := range []target.Criterion{target.RipplePP, target.SpikePeak, target.MainsLine, target.Noise} {
		keep := []int{3, 4, 6, 7}[i]
		if col, ok := criterionColumn(r, c, keep); ok {
			cols = append(cols, col)
		}
	}
	return append(cols, volts, dropper)
}

// rankText is the unit's rank, with "=" where units share it.
func rankText(r *Report, i int) string {
	rank := r.Units[i].Eval.Rank
	if rank == 0 {
		return fmt.Sprint(i + 1)
	}
	for j := range r.Units {
		if j != i && r.Units[j].Eval.Rank == rank {
			return fmt.Sprintf("%d=", rank)
		}
	}
	return fmt.Sprint(rank)
}

// criterionColumn shows the figure of one criterion, if the target has it.
func criterionColumn(r *Report, c target.Criterion, keep int) (column, bool) {
	for _, l := range r.Target.Limits {
		if l.Criterion != c {
			continue
		}
		col := column{head: shortName(l), right: true, keep: keep}
		for i := range r.Units {
			cell := "-"
			for _, m := range r.Units[i].Eval.Margins {
				if m.Limit.Criterion == c && m.Covered {
					cell = figureText(m.Figure, l.Unit)
				}
			}
			col.cells = append(col.cells, cell)
		}
		return col, true
	}
	return column{}, false
}

func brandColumns(r *Report) []column {
	cols := []column{{head: "brand", keep: 0}, {head: "pass", right: true, keep: 0},
		{head: "likely pass rate (95 %)", right: true, keep: 3}, {head: "median margin", right: true, keep: 1},
		{head: "worst", right: true, keep: 2}, {head: "undecided", right: true, keep: 4}, {head: "passing, CM open", right: true, keep: 2}}
	undecided, byHalf := 0, 0
	for _, br := range r.Brands {
		for i, s := range []string{clean(br.Name), fmt.Sprintf("%d of %d", br.Passing, br.Judged),
			shareText(br), brandDB(br, br.MedianDB), brandDB(br, br.WorstDB), fmt.Sprint(br.Undecided), fmt.Sprint(br.PassingByHalf)} {
			cols[i].cells = append(cols[i].cells, s)
		}
		undecided, byHalf = undecided+br.Undecided, byHalf+br.PassingByHalf
	}
	last := len(cols) - 1
	if byHalf == 0 {
		cols = cols[:last]
	}
	if undecided == 0 {
		cols = slices.Delete(cols, last-1, last)
	}
	return cols
}

// brandNote says what the brands' margins leave out, "" nothing.
func (r *Report) brandNote() string {
	for _, b := range r.Brands {
		if b.OneHalf {
			return "These margins are of the output only, since not every judged unit has its common mode measured."
		}
	}
	return ""
}

// brandDB is one of a brand's margins, which it has only with judged units.
func brandDB(b target.Brand, db float64) string {
	if len(b.UnitWorstDB) == 0 {
		return "–"
	}
	return dbText(db)
}

func shareText(b target.Brand) string {
	return fmt.Sprintf("%.0f to %.0f %%", 100*b.ShareLow, 100*b.ShareHigh)
}

const columnGap = 2

// fit drops columns, the highest keep first, and at last cuts the elastic one,
// until the table is at most width columns wide.
func fit(cols []column, width, elastic int) []column {
	for i := range cols {
		cols[i].width = text.StringWidthWithoutEscSequences(cols[i].head)
		for _, c := range cols[i].cells {
			cols[i].width = max(cols[i].width, text.StringWidthWithoutEscSequences(c))
		}
	}
	// A long name gives way to figures before columns are dropped.
	const comfortable = 28
	if over := total(cols) - width; over > 0 {
		cols[elastic].width = max(min(cols[elastic].width, comfortable), cols[elastic].width-over)
	}
	for total(cols) > width {
		drop := 0
		for i := range cols {
			if cols[i].keep >= cols[drop].keep {
				drop = i
			}
		}
		if cols[drop].keep == 0 {
			break
		}
		cols = append(cols[:drop:drop], cols[drop+1:]...)
		if drop < elastic {
			elastic--
		}
	}
	if over := total(cols) - width; over > 0 {
		cols[elastic].width = max(cols[elastic].width-over, 4)
	}
	return cols
}

func total(cols []column) int {
	n := -columnGap
	for _, c := range cols {
		n += c.width + columnGap
	}
	return n
}

// verdictCells gives the ANSI colour of each row's verdict, nil without colour.
func verdictCells(r *Report, colour bool) []string {
	if !colour {
		return nil
	}
	out := make([]string, len(r.Units))
	for i := range r.Units {
		out[i] = verdictColours[r.Units[i].Eval.Verdict]
	}
	return out
}

func writeColumns(b *strings.Builder, cols []column, colours []string) {
	rows := 0
	for _, c := range cols {
		rows = max(rows, len(c.cells))
	}
	for row := -1; row < rows; row++ {
		var line strings.Builder
		for i, c := range cols {
			s := c.head
			if row >= 0 {
				s = c.cells[row]
			}
			if text.StringWidthWithoutEscSequences(s) > c.width {
				s = text.Snip(s, c.width, "…")
			}
			align := text.AlignLeft
			if c.right {
				align = text.AlignRight
			}
			cell := align.Apply(s, c.width)
			if row >= 0 && c.head == "verdict" && colours != nil && colours[row] != "" {
				cell = colours[row] + cell + "\x1b[0m"
			}
			if i > 0 {
				line.WriteString(strings.Repeat(" ", columnGap))
			}
			line.WriteString(cell)
		}
		b.WriteString(strings.TrimRight(line.String(), " "))
		b.WriteByte('\n')
		if row < 0 {
			b.WriteString(strings.Repeat("─", max(total(cols), 1)))
			b.WriteByte('\n')
		}
	}
}

// wrapTo writes s in lines of at most width columns.
func wrapTo(b *strings.Builder, s string, width int) {
	for _, line := range WrapUnits(s, width) {
		b.WriteString(line)
		b.WriteByte('\n')
	}
}
