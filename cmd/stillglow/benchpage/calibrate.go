package benchpage

import (
	"context"
	"fmt"
	"net/http"
	"net/url"
	"path"
	"path/filepath"
	"strconv"
	"strings"

	"stillglow/capture"
	"stillglow/capture/sheet"
)

// serveCalibrate takes a recorded sine of known volts for the sound input's volts at
// full scale, which hold for every WAV that has none of its own. The recording is of
// no unit and leaves the sheet; its file stays.
func (b *bench) serveCalibrate(w http.ResponseWriter, r *http.Request) {
	if !parse(w, r) {
		return
	}
	said, err := b.calibrate(r.Context(), r.PostForm)
	b.nudge()
	if err != nil {
		fail(w, err)
		return
	}
	reply(w, http.StatusOK, answer{OK: true, Said: said})
}

func (b *bench) calibrate(ctx context.Context, form url.Values) (said string, err error) {
	if b.sheetGone() {
		return "", errSheetGone
	}
	rms, err := scaled(form.Get("volts_rms"), true)
	if err != nil || rms <= 0 {
		return "", &fieldError{"volts_rms", fmt.Sprintf("found %q, expected the sine's volts rms as the meter shows them, such as 0.5 V or 500 mV", form.Get("volts_rms"))}
	}
	b.mu.Lock()
	var c sheet.Capture
	for _, e := range b.entries {
		if e.ID == form.Get("id") && e.Role != unnamed {
			c = e.Capture
		}
	}
	b.mu.Unlock()
	if c.File == "" {
		return "", errGone
	}
	opt := capture.Options{Channel: c.Options.Channel, RateHz: c.Options.RateHz}
	tr, err := capture.Open(ctx, c.Path, opt)
	if err != nil {
		return "", err
	}
	cal, err := capture.Calibrate(tr, rms, 0)
	name := path.Base(filepath.ToSlash(c.File))
	if err != nil {
		return "", &fieldError{"volts_rms", name + ": " + err.Error()}
	}
	err = b.file.Change(func(t *sheet.Text) error {
		s, err := t.Sheet(b.file.Path())
		if err != nil {
			return err
		}
		if now, err := b.captureOf(s, form.Get("id")); err == nil {
			if err := t.Remove(now.Key); err != nil {
				return err
			}
		}
		return t.Set("instrument.volts_per_full_scale", sixDigits(cal.VoltsPerFullScale))
	})
	if err != nil {
		return "", err
	}
	said = fmt.Sprintf("%s at full scale (peak), by %s: a sine of %s that fills %.2g of full scale, residual %s",
		capture.SI(cal.VoltsPerFullScale, "V", 5), name, capture.SI(cal.FrequencyHz, "Hz", 5), cal.PeakOfFullScale, cal.ResidualText(2))
	if len(cal.Cautions) > 0 {
		said += "; caution: " + strings.Join(cal.Cautions, "; ")
	}
	b.mu.Lock()
	b.calibrated = said
	b.mu.Unlock()
	b.hub.changed("bring")
	return said, nil
}

// sixDigits is a figure as the calibrate command prints it.
func sixDigits(x float64) float64 {
	six, _ := strconv.ParseFloat(strconv.FormatFloat(x, 'g', 6, 64), 64)
	return six
}
