package main

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"stillglow/capture/sheet"
)

// sheetFlags say where the captures of a sheet lie that its pattern finds.
type sheetFlags struct{ folder string }

func (f *sheetFlags) add(cmd *cobra.Command) {
	cmd.Flags().StringVar(&f.folder, "folder", "", "folder whose files the sheet's pattern assigns to the units (default: the sheet's)")
}

// read reads a sheet and gives its units the files that fit its pattern.
func (f *sheetFlags) read(path string) (*sheet.Sheet, sheet.Unmatched, error) {
	s, err := sheet.Read(path)
	if err != nil {
		return nil, sheet.Unmatched{}, err
	}
	left, err := s.TakeMatching(f.folder)
	return s, left, err
}

// readTelling is read that tells on notes what was left aside and what was given to no unit.
func (f *sheetFlags) readTelling(path string, notes io.Writer) (*sheet.Sheet, error) {
	s, left, err := f.read(path)
	if err != nil {
		return nil, err
	}
	for _, n := range s.Notes {
		fmt.Fprintf(notes, "stillglow: note: %s: %s\n", path, n)
	}
	for _, n := range left.Text(s.Pattern) {
		fmt.Fprintf(notes, "stillglow: note: %s\n", n)
	}
	return s, nil
}
