//go:build browser

package main

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/exp/slices"
)

// hostileNames are names as a file could bring them: each must stay text.
var hostileNames = []string{
	`<script>document.title='let in'</script>`, `</script><img src=x onerror="document.title='let in'">`, `<!--`, `" autofocus onfocus="document.title='let in'`,
	`'quoted'`, `&lt;b&gt;`, `{{.File}}`, "a\u202eb", `=1+1`, `\u003c`, `rudder `, `Übermaß, 舵`, `x" data-channel="y`, `]]>`, `%3Cb%3E`, "\u2028",
}

// tableOf writes a table of changes: frames of 20 ms, one pulse for each
// channel one after the other, but for the frames that a channel misses.
func tableOf(t *testing.T, names []string, frames int, missing func(channel, frame int) bool) string {
	t.Helper()
	file := filepath.Join(t.TempDir(), "hostile <b>capture.csv")
	f, err := os.Create(file)
	require.NoError(t, err)
	w := csv.NewWriter(f)
	levels := make([]string, len(names))
	for i := range levels {
		levels[i] = "0"
	}
	row := func(us int) {
		require.NoError(t, w.Write(append([]string{strconv.FormatFloat(float64(us)/1e6, 'f', 6, 64)}, levels...)))
	}
	require.NoError(t, w.Write(append([]string{"Time [s]"}, names...)))
	row(0)
	for frame := range frames {
		at := 5_000 + frame*20_000
		for c := range names {
			if missing != nil && missing(c, frame) {
				continue
			}
			levels[c] = "1"
			row(at + c*1_100)
			levels[c] = "0"
			row(at + c*1_100 + 1_000 + c*3)
		}
	}
	row(10_000 + frames*20_000)
	w.Flush()
	require.NoError(t, w.Error())
	require.NoError(t, f.Close())
	return file
}

func TestPageKeepsHostileNamesText(t *testing.T) {
	capture := tableOf(t, hostileNames, 100, nil)
	file, out := pageOf(t, capture, "--label", "rudder:<i>label</i>")
	p := newBrowser(t).tab(t).open(file)
	assert.NotEqual(t, "let in", ask[string](p, `document.title`), out.err)
	assert.Zero(t, ask[int](p, `document.querySelectorAll('main script:not(.pulses), main img, main b b, main i').length`))
	var shown []string
	for name := range pulsesOf(t, capture) {
		shown = append(shown, name)
	}
	lanes := ask[[]string](p, `[...document.querySelectorAll('.lane')].map((lane) => lane.dataset.channel)`)
	assert.Len(t, lanes, len(hostileNames))
	assert.ElementsMatch(t, shown, lanes)
	p.quiet(file)
}

func TestPageOfLittle(t *testing.T) {
	b := newBrowser(t)
	for name, c := range map[string]struct {
		names  []string
		frames int
		lanes  int
	}{
		"no pulse":   {[]string{"winch"}, 0, 1},
		"one pulse":  {[]string{"winch"}, 1, 1},
		"two pulses": {[]string{"winch"}, 2, 1},
	} {
		t.Run(name, func(t *testing.T) {
			file, _ := pageOf(t, "--channel", "winch", tableOf(t, c.names, c.frames, nil))
			p := b.tab(t).open(file)
			assert.Equal(t, c.lanes, ask[int](p, `document.querySelectorAll('.lane').length`))
			ask[int](p, `(() => {`+inPage+` for (const row of document.querySelectorAll('[data-finding]')) row.click(); for (const key of ['Home', 'End', 'ArrowLeft', '+', '1', '2']) press(document.querySelector('.lane'), key); return 0; })()`)
			p.quiet(file)
		})
	}
}

// Of ten thousand findings a page shows some rows and reaches all.
func TestPageOfManyFindings(t *testing.T) {
	var names []string
	for c := range 11 {
		names = append(names, fmt.Sprintf("channel %02d", c))
	}
	capture := tableOf(t, names, 5_000, func(channel, frame int) bool { return frame > 10 && (frame+channel)%5 == 0 })
	file, _ := pageOf(t, capture)
	p := newBrowser(t).tab(t).open(file)
	var d onPage
	require.NoError(t, json.Unmarshal([]byte(ask[string](p, `document.getElementById('widthwise-check').textContent`)), &d))
	findings := d.Captures[0].Findings
	require.Greater(t, len(findings), 10_000)
	assert.Equal(t, 500, ask[int](p, `document.querySelectorAll('[data-finding]').length`))
	of := func(name string) (n int) {
		for _, f := range append(slices.Clone(d.Captures[0].Events), findings...) {
			if slices.Contains(f.Channels, name) {
				n++
			}
		}
		return n
	}
	got := ask[string](p, `(() => { const channel = document.querySelectorAll('.filters select')[2]; channel.value = 'channel 10'; channel.dispatchEvent(new Event('change')); return document.querySelector('.count').textContent; })()`)
	assert.Equal(t, fmt.Sprintf("%d of %d, the first 500 of them shown.", of("channel 10"), len(findings)+len(d.Captures[0].Events)), got)
	last := ask[stripReading](p, `(() => {`+inPage+` const rows = document.querySelectorAll('[data-finding]'); rows[rows.length - 1].click(); return read(); })()`)
	assert.Contains(t, pulsesOf(t, capture)["channel 10"], last)
	p.quiet(file)
}

// accessible requires that the page keeps the automated rules of WCAG 2.2 AA,
// as axe-core tries them.
func (p *tab) accessible() {
	p.t.Helper()
	axe, err := os.ReadFile(os.Getenv("WIDTHWISE_AXE"))
	require.NoError(p.t, err, "WIDTHWISE_AXE names axe.min.js; .ci/run sets it")
	ask[any](p, string(axe)+"; 0")
	tried := ask[struct {
		Passed int
		Broken []string
	}](p, `axe.run(document, {runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice']})
		.then((r) => ({Passed: r.passes.length, Broken: r.violations.flatMap((v) => v.nodes.map((n) => v.id + ': ' + n.html.slice(0, 120) + ' ' + n.failureSummary))}))`)
	assert.Empty(p.t, tried.Broken)
	assert.Greater(p.t, tried.Passed, 15, "rules that found something to try")
}

func TestPageIsAccessible(t *testing.T) {
	b := newBrowser(t)
	stream := "../../testdata/benches/sum/capture.vcd"
	both, _ := pageOf(t, stream, "../../testdata/scenarios/one-drop.toml")
	for name, file := range map[string]string{"demo": demoPage(t), "two captures, one a stream": both} {
		for _, scheme := range []string{"light", "dark"} {
			for _, width := range []int64{380, 1280} {
				t.Run(fmt.Sprint(name, " ", scheme, " ", width), func(t *testing.T) {
					p := b.tab(t, chromedp.EmulateViewport(width, 900))
					call(p, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}})
					p.open(file)
					ask[int](p, `(() => { document.querySelector('[data-finding]')?.click(); return 0; })()`)
					p.accessible()
				})
			}
		}
	}
}
