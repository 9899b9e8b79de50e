package report

import "strings"

// What a figure rests on where no source can be named is said beside it in full in
// JSON; in print a sign stands in its place and one note explains both.
const (
	memoryMark   = "†"
	practiceMark = "‡"
	memoryNote   = "† from memory"
	practiceNote = "‡ common practice, no source"
)

// signs replace the words that texts of the analysis end in, longest first.
var signs = strings.NewReplacer(
	" (common practice, no source)", practiceMark,
	" (Common practice, no source.)", practiceMark,
	", common practice, no source)", ")"+practiceMark,
	" (from memory, it varies by maker)", memoryMark+" (varies by maker)",
	" (from memory)", memoryMark,
	", from memory)", ")"+memoryMark,
	"; from memory", memoryMark,
)

// Marked is a text with signs for "from memory" and "common practice, no source".
func Marked(s string) string { return signs.Replace(s) }

// MarkNote explains the signs in a text, "" where there is none.
func MarkNote(texts ...string) string {
	memory, practice := false, false
	for _, s := range texts {
		memory = memory || strings.Contains(s, memoryMark)
		practice = practice || strings.Contains(s, practiceMark)
	}
	switch {
	case memory && practice:
		return memoryNote + "; " + practiceNote
	case memory:
		return memoryNote
	case practice:
		return practiceNote
	}
	return ""
}

func markedAll(in []string) []string {
	out := make([]string, len(in))
	for i := range in {
		out[i] = Marked(in[i])
	}
	return out
}
