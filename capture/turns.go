package capture

import (
	"fmt"
	"math"
	"strconv"
)

// Recognising rows of several channels in turn.
const (
	mostTurns  = 16 // channels, at most
	leastTurns = 4  // of each, at least
)

// turnName is the name of a column that numbers the channels.
var turnName = newPattern(`(^| )(channel|chan|ch|kanal|unit|sensor|device|id|input|probe|port|pin)( |$)`)

// refuseTurns refuses rows that belong to several channels in turn: a column names or
// numbers them, over and over in the same order. Read as one channel they would be a
// waveform that never was, at too high a rate.
func (t *table) refuseTurns(name string, h *textHead, hd *header) error {
	turns := make([][]string, t.cells)
	rows := 0
	var cells []cell
	for i := t.first; i < len(h.lines) && rows < schemaRows; i++ {
		if cells = splitCells(h.line(i), t.delim, cells); !t.fits(cells) {
			continue
		}
		rows++
		for j := range min(len(cells), t.cells) {
			turns[j] = append(turns[j], string(cells[j].text))
		}
	}
	for j, texts := range turns {
		kind := cellEmpty
		if len(texts) == rows && rows > 0 {
			kind = readCell([]byte(texts[0]), t.decimal).kind
		}
		key, _ := normKey(hd.names[j])
		if kind != cellWords && !(kind == cellNumber && allDigits(texts[0]) && turnName.MatchString(key) && !numbered.MatchString(key)) {
			continue
		}
		if n := inTurn(texts); n > 0 && (kind == cellWords || counts(texts[:n])) {
			return &ParseError{Path: name, Line: t.firstNumber, Column: j + 1, Found: fmt.Sprintf("rows of %d channels in turn, %q, %q and so on", n, short(texts[0]), short(texts[1])), Expected: "one channel, or a column for each", Fix: "export each channel in a column of its own"}
		}
	}
	return nil
}

// counts reports whether texts, all different, are the whole numbers from 0 or 1.
func counts(texts []string) bool {
	lo, hi := math.MaxInt, 0
	for _, s := range texts {
		n, err := strconv.Atoi(s)
		if err != nil {
			return false
		}
		lo, hi = min(lo, n), max(hi, n)
	}
	return lo <= 1 && lo >= 0 && hi-lo == len(texts)-1
}

// inTurn gives the number of different texts that follow each other over and over in the
// same order, 0 where they don't.
func inTurn(texts []string) int {
	n := 1
	for n < len(texts) && texts[n] != texts[0] {
		n++
	}
	if n < 2 || n > mostTurns || len(texts) < leastTurns*n {
		return 0
	}
	seen := map[string]bool{}
	for i, s := range texts {
		if i >= n && s != texts[i-n] {
			return 0
		}
		seen[s] = true
	}
	if len(seen) != n {
		return 0
	}
	return n
}
