package capture

import (
	"regexp"
	"sync"
)

// pattern is a regular expression that is compiled when it is first asked: compiling
// all of them took a quarter of every command's start, and most files ask few.
type pattern struct{ compiled func() *regexp.Regexp }

// newPattern panics where expr is none, once it is asked; TestPatterns asks all.
func newPattern(expr string) *pattern {
	patterns = append(patterns, expr)
	return &pattern{sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(expr) })}
}

// patterns are the expressions of all.
var patterns []string

func (p *pattern) Match(b []byte) bool        { return p.compiled().Match(b) }
func (p *pattern) MatchString(s string) bool  { return p.compiled().MatchString(s) }
func (p *pattern) FindString(s string) string { return p.compiled().FindString(s) }
func (p *pattern) FindSubmatch(b []byte) [][]byte {
	return p.compiled().FindSubmatch(b)
}
func (p *pattern) FindStringSubmatch(s string) []string {
	return p.compiled().FindStringSubmatch(s)
}
func (p *pattern) FindStringSubmatchIndex(s string) []int {
	return p.compiled().FindStringSubmatchIndex(s)
}
func (p *pattern) FindAllStringSubmatch(s string, n int) [][]string {
	return p.compiled().FindAllStringSubmatch(s, n)
}
func (p *pattern) ReplaceAllString(s, with string) string {
	return p.compiled().ReplaceAllString(s, with)
}
