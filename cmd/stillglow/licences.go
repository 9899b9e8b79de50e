package main

import (
	_ "embed"
	"fmt"
	"io"
)

// licences are the notices of all that the binary is made of; .ci/licences
// writes them.
//
//go:embed licences.txt
var licences string

// printVersion prints the version, and the notices when they are asked for.
func printVersion(w io.Writer, withLicences bool) error {
	if _, err := fmt.Fprintf(w, "stillglow version %s\n", version); err != nil || !withLicences {
		return err
	}
	_, err := fmt.Fprintf(w, "\n%s", licences)
	return err
}
