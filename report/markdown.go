package report

import (
	"fmt"
	"regexp"
	"strings"

	"stillglow/analysis/target"
)

// Markdown is buildlog.md: short, to be pasted into a forum or a Git
// repository, pictures linked relative to its own place.
func (r *Report) Markdown() []byte {
	var b strings.Builder
	fmt.Fprintf(&b, "# %s\n\n", md(orText(r.Title, "Heater supplies measured")))
	if line := joinNonEmpty(" · ", md(r.Workshop), md(r.Date), md(r.Instrument)); line != "" {
		b.WriteString(line + "\n\n")
	}
	if r.Invented {
		b.WriteString("> **" + InventedBanner + "**\n\n")
	}
	a := r.Answer()
	for _, s := range a.sentences() {
		b.WriteString(mdEscape(s) + "\n\n")
	}
	fmt.Fprintf(&b, "Target: %s.\n\n", md(orText(r.Target.Title, r.Target.Name)))
	r.markdownRanking(&b)
	r.markdownStates(&b)
	r.markdownBrands(&b)
	r.markdownPictures(&b)
	if len(a.Watch) > 0 {
		b.WriteString("## What to watch\n\n")
		for _, s := range a.Watch {
			b.WriteString("- " + mdEscape(s) + "\n")
		}
		b.WriteString("\n")
	}
	b.WriteString("## Safety\n\n")
	for _, s := range safety() {
		b.WriteString("- " + md(s) + "\n")
	}
	b.WriteString("\nMeasured with stillglow")
	if r.ToolVersion != "" {
		b.WriteString(" " + md(r.ToolVersion))
	}
	b.WriteString("; figures, captures and their SHA-256 are in [results.json](results.json) and [index.html](index.html).\n")
	return []byte(b.String())
}

// markdownCriteria are the figures worth a column in a short log, at most four.
func (r *Report) markdownCriteria() []target.Limit {
	var out []target.Limit
	for _, want := range []target.Criterion{target.RipplePP, target.MainsLine, target.SpikePeak, target.Noise} {
		for _, l := range r.Target.Limits {
			if l.Criterion == want {
				out = append(out, l)
			}
		}
	}
	return out
}

func (r *Report) markdownRanking(b *strings.Builder) {
	if len(r.Units) == 0 {
		return
	}
	criteria := r.markdownCriteria()
	b.WriteString("| # | unit | verdict | worst margin |")
	rule := "| --: | :-- | :-- | --: |"
	for _, l := range criteria {
		fmt.Fprintf(b, " %s (limit %s) |", md(shortName(l)), limitText(l))
		rule += " --: |"
	}
	b.WriteString(" dropper |\n" + rule + " :-- |\n")
	for i := range r.Units {
		u := &r.Units[i]
		e := &u.Eval
		worst := "not measured"
		if m := worstMargin(e); m != nil {
			worst = marginText(m) + " (" + md(shortName(m.Limit)) + ")"
		}
		verdict := string(e.Verdict)
		if half := halfVerdict(e); half != "" {
			verdict += ", " + half
		}
		if e.Overloaded {
			verdict += ", overloaded"
		}
		fmt.Fprintf(b, "| %s | %s | %s %s | %s |", rankText(r, i), mdEscape(isolate(shorten(unitName(e.Unit), 60))),
			shape(e.Verdict), verdict, worst)
		for _, l := range criteria {
			cell := "not measured"
			if m := marginOf(e, l.Criterion); m != nil && m.Covered {
				cell = figureText(m.Figure, l.Unit)
			}
			b.WriteString(" " + cell + " |")
		}
		dropper := "-"
		if a, part := bestPart(u.Plan); part != nil {
			dropper = md(partText(a, part))
		}
		b.WriteString(" " + dropper + " |\n")
	}
	b.WriteString("\n")
	for i := range r.Units {
		e := &r.Units[i].Eval
		for _, s := range e.ShownWords() {
			fmt.Fprintf(b, "- %s: read %s\n", mdEscape(isolate(shorten(unitName(e.Unit), 60))), md(s))
		}
		if over := overload(e); over != "" {
			fmt.Fprintf(b, "- %s: overloaded: %s\n", mdEscape(isolate(shorten(unitName(e.Unit), 60))), md(over))
		}
	}
	if strings.HasSuffix(b.String(), "\n\n") {
		return
	}
	b.WriteString("\n")
}

// markdownStates shows each supply that was measured in several states, before and
// after.
func (r *Report) markdownStates(b *strings.Builder) {
	for i := range r.Units {
		v := r.states(i)
		if v == nil || !v.first(i) {
			continue
		}
		fmt.Fprintf(b, "%s, before and after (dB: change from the first column):\n\n| criterion |", mdEscape(isolate(shorten(v.Name, 60))))
		rule := "| :-- |"
		for _, h := range v.Heads {
			fmt.Fprintf(b, " %s, %s |", h.State, md(h.Date))
			rule += " --: |"
		}
		b.WriteString("\n" + rule + "\n")
		for _, line := range v.Lines {
			fmt.Fprintf(b, "| %s |", md(line.Name))
			for _, c := range line.Cells {
				fmt.Fprintf(b, " %s |", md(c))
			}
			b.WriteString("\n")
		}
		b.WriteString("\n")
	}
}

func (r *Report) markdownBrands(b *strings.Builder) {
	if len(r.Brands) == 0 {
		return
	}
	b.WriteString("| brand | units passing | likely pass rate of the brand (95 %) | median margin | worst margin |\n| :-- | --: | --: | --: | --: |\n")
	for _, br := range r.Brands {
		fmt.Fprintf(b, "| %s | %s | %s | %s | %s |\n", mdEscape(isolate(shorten(clean(br.Name), 60))), br.PassText(),
			shareText(br), brandDB(br, br.MedianDB), brandDB(br, br.WorstDB))
	}
	b.WriteString("\n")
	if words := r.brandNote(); words != "" {
		b.WriteString(words + "\n\n")
	}
}

func (r *Report) markdownPictures(b *strings.Builder) {
	for _, p := range r.plotList() {
		if p.inLog {
			fmt.Fprintf(b, "![%s](plots/%s.png)\n\n", md(p.alt), p.name)
		}
	}
}

// mdEscaper disarms everything Markdown would read as mark-up, HTML included.
// A word joiner behind "@" keeps a forge from paging whoever bears the name, and
// one in a bare address (GFM, 6.9: http, https, ftp and www) from making it a link.
var mdEscaper = strings.NewReplacer("\\", "\\\\", "`", "\\`", "*", "\\*", "_", "\\_", "{", "\\{", "}", "\\}",
	"[", "\\[", "]", "\\]", "<", "&lt;", ">", "&gt;", "&", "&amp;", "|", "\\|", "~", "\\~", "#", "\\#",
	"@", "@\u2060", "!", "\\!", "$", "\\$")

// bareAddress matches the start of what a renderer makes a link by itself.
var bareAddress = regexp.MustCompile(`(?i)([a-z]:|www)(//|\.)`)

// md is a free text as Markdown shows it literally, in one line.
func md(s string) string { return mdEscape(clean(s)) }

// mdEscape is md for a text that is clean already, such as a sentence of Answer,
// whose names stay isolated.
func mdEscape(s string) string {
	s = mdEscaper.Replace(s)
	s = bareAddress.ReplaceAllString(s, "$1\u2060$2")
	// A list, rule or heading can only start at the line's start.
	if s != "" && strings.ContainsRune("-+=", rune(s[0])) {
		s = "\\" + s
	}
	return s
}

func orText(s, fallback string) string {
	if clean(s) == "" {
		return fallback
	}
	return s
}

func joinNonEmpty(sep string, parts ...string) string {
	var out []string
	for _, p := range parts {
		if strings.TrimSpace(p) != "" {
			out = append(out, p)
		}
	}
	return strings.Join(out, sep)
}
