package report

import _ "embed"

//go:embed assets/results.schema.json
var schema []byte

// Schema is the JSON Schema (draft 2020-12) of results.json; its definition
// "capture" is that of a line of `measure --json`.
func Schema() []byte { return append([]byte(nil), schema...) }
