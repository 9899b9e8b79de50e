package pipeline

import (
	"encoding/json"
	"fmt"

	"stillglow/analysis"
	"stillglow/analysis/filter"
	"stillglow/capture"
	"stillglow/capture/sheet"
)

// key names an entry; "" when the settings can't be written down.
func (c *Cache) key(content string, opt capture.Options, setup analysis.Setup) string {
	opt.Progress = nil
	baseline := ""
	if setup.Baseline != nil {
		if baseline = c.baselineSum(setup.Baseline); baseline == "" {
			return ""
		}
		setup.Baseline = nil
	}
	settings, err := json.Marshal([]any{content, baseline, setup, optionsKey(opt), c.program()})
	if err != nil {
		return ""
	}
	return hexSum(settings)
}

// baselineSum tells baselines apart by their figures, since the same file opened
// otherwise is another baseline. Not by their gob, which numbers types by what
// the process happened to write before.
func (c *Cache) baselineSum(m *analysis.Measurement) string {
	c.mu.Lock()
	defer c.mu.Unlock()
	sum, known := c.baselines[m]
	if !known {
		if text, err := json.Marshal(m); err == nil {
			sum = hexSum(text)
		}
		if c.baselines == nil {
			c.baselines = make(map[*analysis.Measurement]string)
		}
		c.baselines[m] = sum
	}
	return sum
}

// optionsKey is the options without what can't be written down, as JSON.
func optionsKey(opt capture.Options) string {
	// All fields but Progress, so that one added to Options is never forgotten.
	// The numbers are finite: the sheet and the flags see to it.
	type plain capture.Options
	text, err := json.Marshal(struct {
		plain
		Progress bool
	}{plain: plain(opt)})
	if err != nil {
		return fmt.Sprintf("%+v", opt) // with Progress's address: no other set's key
	}
	return string(text)
}

// adviceKey names the post-filter advice on a unit, u in the sheet, by all that it
// follows from; "" when that can't be written down.
func (c *Cache) adviceKey(in filter.Input, u sheet.Unit, opt filter.Options) string {
	if c == nil || c.program() == "" {
		return ""
	}
	captures := make([]string, len(u.Captures))
	for i, m := range in.Unit.Captures {
		captures[i] = c.key(m.SHA256, u.Captures[i].Options, in.Setups[i])
		if m.SHA256 == "" || captures[i] == "" {
			return ""
		}
	}
	in.Unit.Captures, in.Unit.Index = nil, 0
	settings, err := json.Marshal([]any{"post-filter", c.program(), captures, in.Unit, in.Target, opt})
	if err != nil {
		return ""
	}
	return hexSum(settings)
}

// picture is an entry of the two files of a picture.
type picture struct {
	PNG, SVG []byte
}

// Picture is the picture kept under the digest of what is drawn (report.Drawn).
func (c *Cache) Picture(digest string) (raster, vector []byte, ok bool) {
	var p picture
	if !c.load(c.pictureKey(digest), &p) || len(p.PNG) == 0 || len(p.SVG) == 0 {
		return nil, nil, false
	}
	return p.PNG, p.SVG, true
}

// KeepPicture keeps a picture's files under the digest of what is drawn.
func (c *Cache) KeepPicture(digest string, raster, vector []byte) {
	c.save(c.pictureKey(digest), picture{raster, vector})
}

func (c *Cache) pictureKey(digest string) string {
	return hexSum([]byte("picture\n" + c.program() + "\n" + digest))
}
