//go:build browser

package main

import (
	"bytes"
	"compress/flate"
	"context"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"os"
	"regexp"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"widthwise/decode"
	"widthwise/formats"
	"widthwise/report"
	"widthwise/report/trace"
)

// modules is an empty page that can import the page's scripts one by one.
func modules(t *testing.T, b *browser) *tab {
	t.Helper()
	scripts := http.FileServer(http.Dir("../../report/page/script"))
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path == "/" {
			fmt.Fprint(w, "<!DOCTYPE html><title>modules</title>")
			return
		}
		scripts.ServeHTTP(w, r)
	}))
	t.Cleanup(server.Close)
	p := b.tab(t)
	p.do(chromedp.Navigate(server.URL + "/"))
	return p
}

// The page's own inflate reads what compress/flate writes, an independent
// writer of RFC 1951: blocks stored, with fixed codes and with codes of their own.
func TestInflatePlainly(t *testing.T) {
	p := modules(t, newBrowser(t))
	random := rand.New(rand.NewPCG(1907, 11))
	noise := make([]byte, 100_000)
	for i := range noise {
		noise[i] = byte(random.Uint32())
	}
	var steps []byte
	for len(steps) < 300_000 {
		steps = append(steps, bytes.Repeat([]byte{byte(random.IntN(7))}, 1+random.IntN(400))...)
	}
	for name, plain := range map[string][]byte{"nothing": {}, "a byte": {7}, "short": []byte("harbour tug, harbour tug"), "noise": noise, "steps": steps} {
		for _, level := range []int{flate.NoCompression, flate.BestSpeed, flate.BestCompression, flate.HuffmanOnly} {
			var packed bytes.Buffer
			w, err := flate.NewWriter(&packed, level)
			require.NoError(t, err)
			_, err = w.Write(plain)
			require.NoError(t, err)
			require.NoError(t, w.Close())
			same := ask[bool](p, fmt.Sprintf(`(async () => {
				const { inflatePlainly } = await import('/inflate.js');
				const bytes = (text) => Uint8Array.from(atob(text), (c) => c.charCodeAt(0));
				const got = inflatePlainly(bytes(%q)), want = bytes(%q);
				return got.length === want.length && got.every((b, i) => b === want[i]);
			})()`, base64.StdEncoding.EncodeToString(packed.Bytes()), base64.StdEncoding.EncodeToString(plain)))
			assert.True(t, same, "%s at level %d", name, level)
		}
	}
}

// The page thins as trace does, column by column.
func TestPageThinsAsTraceDoes(t *testing.T) {
	type column struct {
		First, Last, Min, Max int64
		Pulses                int
		Lifted, Gap           bool
	}
	p := modules(t, newBrowser(t))
	pulses := regexp.MustCompile(`class="pulses">([^<]*)<`)
	for _, name := range []string{"supply-dip", "one-drop", "unknown", "late-start", "alternating", "stuck"} {
		capture := "../../testdata/scenarios/" + name + ".toml"
		file, _ := pageOf(t, capture)
		text, err := os.ReadFile(file)
		require.NoError(t, err)
		packed := pulses.FindAllSubmatch(text, -1)
		reader, err := formats.Open(capture, formats.Options{})
		require.NoError(t, err)
		recording, err := decode.Decode(context.Background(), reader, decode.Settings{})
		require.NoError(t, err)
		a := recording.Analyse()
		measured := a.Measured()
		require.Len(t, packed, len(measured))
		for i, channel := range measured {
			const columns = 701
			var want []column
			for _, c := range trace.Thin(channel, a.Start, a.End, columns) {
				want = append(want, column{int64(c.First), int64(c.Last), int64(c.Min), int64(c.Max), c.Pulses, c.Lifted, c.Gap})
			}
			got := ask[[]column](p, fmt.Sprintf(`(async () => {
				const { unpack } = await import('/unpack.js');
				const { thin } = await import('/thin.js');
				const { pulses } = await unpack(%q, %s);
				const c = thin(pulses, pulses.width, 0, %s, %d);
				return Array.from(c.pulses, (n, i) => n === 0 ? {First: 0, Last: 0, Min: 0, Max: 0, Pulses: 0, Lifted: false, Gap: false}
					: {First: c.first[i], Last: c.last[i], Min: c.low[i], Max: c.high[i], Pulses: n, Lifted: !!c.lifted[i], Gap: !!c.gap[i]});
			})()`, packed[i][1], a.Start.Seconds(12), (a.End-a.Start).Seconds(12), columns))
			assert.Equal(t, want, got, "%s %s", name, channel.Name)
		}
	}
}

// The page marks an event wherever a still does, also beyond the times listed.
func TestPageMarksWhatAStillMarks(t *testing.T) {
	p := modules(t, newBrowser(t))
	capture := &report.Capture{Findings: []report.Finding{{Start: 10, End: 11}, {Start: 30, End: 33}, {Start: 50, End: 50}}}
	for _, e := range []report.Event{
		{Count: 1, Times: [][2]report.Seconds{{10, 33}}, Findings: []int{0, 1, 2}},
		{Count: 2, Times: [][2]report.Seconds{{10, 33}}, Findings: []int{0, 1, 2}},
		{Start: 10, End: 50, Times: [][2]report.Seconds{}, Findings: []int{0, 1, 2}},
	} {
		want, err := json.Marshal(capture.Stretches(&e))
		require.NoError(t, err)
		capture.Events = []report.Event{e}
		text, err := json.Marshal(capture)
		require.NoError(t, err)
		got := ask[string](p, fmt.Sprintf(`(async () => {
			const { timesOf } = await import('/chart.js');
			const capture = %s;
			return JSON.stringify(timesOf(capture, capture.events[0]).map((t) => t.map((s) => Number(s))));
		})()`, text))
		assert.JSONEq(t, string(want), got)
	}
}

// What of a page without charts can be tried alone: digits, units, round marks.
func TestPageWords(t *testing.T) {
	p := modules(t, newBrowser(t))
	for script, want := range map[string]string{
		`w.decimal(1500123456n, 6)`:             "1500.123456",
		`w.decimal(-1n, 12)`:                    "-0.000000000001",
		`w.decimal(9000000000000000001n, 12)`:   "9000000.000000000001",
		`w.length(0.0221, 2)`:                   "22.10 ms",
		`w.length(61.25, 1)`:                    "61.3 s",
		`w.length(0.0000015)`:                   "1.500 us",
		`String(w.places(1 / 24))`:              "2",
		`String(w.places(null))`:                "1",
		`String(w.places(10))`:                  "0",
		`w.steps(0, 60, 10).marks.join()`:       "0,10,20,30,40,50,60",
		`w.steps(12.34, 12.35, 5).marks.length`: "6",
		`w.many(1, 'rest') + w.many(2, 'rest')`: "1 rest2 rests",
	} {
		got := ask[string](p, `(async () => { const w = await import('/words.js'); return String(`+script+`); })()`)
		assert.Equal(t, want, got, script)
	}
}
