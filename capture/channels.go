package capture

import (
	"fmt"
	"strings"
)

// noName is what stands over a column without being a name at all.
var noName = newPattern(`(?i)^(waveform( data)?|no|\[.*\])$`)

// plainName is what stands over a column and names none in particular.
var plainName = newPattern(`(?i)^(waveform( data)?|data|values?|y|col(umn)? ?\d+|no|amplitude|voltage|u|v)$`)

// nameChannels gives the volts columns unique names.
func (s *schema) nameChannels(hd *header, cols []columnData, p *preamble) {
	seen := map[string]int{}
	for i, j := range s.volts {
		n, why := s.ownName(i, hd.names[j], p)
		if isVoltWord(n) || noName.MatchString(n) {
			n, why = "", "the file gives no name" // a unit is no name
		}
		if len(s.volts) > 1 && (n == "" || isUnitWord(n) && seen[n] > 0) {
			n, why = fmt.Sprintf("column %d", j+1), "by its place; the file gives no name"
		}
		seen[n]++
		if seen[n] > 1 {
			n = fmt.Sprintf("%s (column %d)", n, j+1)
		}
		s.names, s.nameWhy, s.headers = append(s.names, n), append(s.nameWhy, why), append(s.headers, hd.names[j])
		u := hd.units[j]
		if u == "" {
			u = cols[j].unit
		}
		s.units = append(s.units, u)
	}
}

// ownName finds the name of channel i: the one from the settings wins over a
// unit or a word such as "Waveform Data" above the column. why says where it
// stands.
func (s *schema) ownName(i int, above string, p *preamble) (name, why string) {
	alone := len(s.volts) == 1
	if above != "" && !isUnitWord(above) && !plainName.MatchString(above) {
		return above, "heads the column"
	}
	j := s.volts[i]
	v, ok := p.get(metaSource, spot{col: j, places: []place{s.place(j), {i, len(s.volts)}}})
	ok = ok && v.text != "" && !v.countsChannels() && (alone || v.index >= 0 || v.over(j))
	if ok && (above == "" || isUnitWord(above) || channelLike(v.text)) {
		above, why = v.text, "is "+stated(v)
		if !isUnitWord(above) && !plainName.MatchString(above) {
			return above, why
		}
	}
	if own := p.onlyChannel(); alone && own != "" {
		return own, "heads the column of settings"
	}
	if why == "" {
		why = "heads the column"
	}
	return above, why
}

// countsChannels tells "Channels,2", which is no name.
func (m metaValue) countsChannels() bool {
	k, _ := normKey(m.key)
	return k == "channels" && m.ok && m.index < 0
}

// onlyChannel is the one channel that values name ahead of them, as in
// "Vertical Units,CH3:V", "" where there is none or more than one.
func (p *preamble) onlyChannel() string {
	own := ""
	for _, vs := range p.values {
		for _, v := range vs {
			if v.own != "" && own != "" && v.own != own {
				return ""
			}
			if v.own != "" {
				own = v.own
			}
		}
	}
	return own
}

// pick finds the channel that opt asks for; line is where the header begins.
func (s *schema) pick(path string, opt Options, line int) (int, error) {
	if opt.Channel == "" && opt.Nth > 0 && opt.Nth <= len(s.names) {
		return opt.Nth - 1, nil
	}
	ch, err := pickChannel(path, opt.Channel, s.names)
	if err == nil || opt.Channel == "" {
		return ch, err
	}
	if i, headErr := pickChannel(path, opt.Channel, s.headers); headErr == nil {
		return i, nil
	}
	for _, o := range s.others {
		if strings.EqualFold(o.name, strings.TrimSpace(opt.Channel)) {
			return 0, &ParseError{Path: path, Line: line, Column: o.col + 1, Found: fmt.Sprintf("%q holds %s", o.name, o.what), Expected: "volts", Fix: "choose a voltage channel, or give its column's unit"}
		}
	}
	return ch, err
}

// channelLike tells names such as CH1, Channel A and 2.
func channelLike(s string) bool {
	k, _ := normKey(s)
	return channelWord.MatchString(k)
}
