package benchpage

import "stillglow/capture/sheet"

// guess is what a file's name seems to say of the capture. The page shows it as a
// guess.
type guess = sheet.Guess

func guessFrom(file string, units []sheet.Unit) guess { return sheet.GuessFrom(file, units) }

// squash leaves the letters and digits of a name.
func squash(s string) string { return sheet.Squash(s) }
