//go:build browser

package main

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math/big"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// stripReading is what the strip at the foot of a page says, or a row of pulses.
type stripReading struct{ Channel, TimeS, WidthUs, IntervalUs string }

// inPage are words for the scripts of the tests.
const inPage = `
	const strip = document.querySelector('[role=status]');
	const read = () => ({Channel: strip.dataset.channel ?? '', TimeS: strip.dataset.timeS ?? '', WidthUs: strip.dataset.widthUs ?? '', IntervalUs: strip.dataset.intervalUs ?? ''});
	const press = (element, key) => element.dispatchEvent(new KeyboardEvent('keydown', {key, bubbles: true, cancelable: true}));
`

// pulsesOf are the rows of pulses for each channel.
func pulsesOf(t *testing.T, args ...string) map[string][]stripReading {
	t.Helper()
	out := try(append([]string{"pulses"}, args...)...)
	rows, err := csv.NewReader(strings.NewReader(out.out)).ReadAll()
	require.NoError(t, err)
	all := map[string][]stripReading{}
	for _, row := range rows[1:] {
		all[row[0]] = append(all[row[0]], stripReading{row[0], row[1], row[2], row[3]})
	}
	return all
}

func committedCaptures(t *testing.T) []string {
	t.Helper()
	var all []string
	for _, pattern := range []string{"scenarios/*.toml", "benches/*/capture*", "vcd/*.vcd"} {
		found, err := filepath.Glob(filepath.Join("../../testdata", pattern))
		require.NoError(t, err)
		require.NotEmpty(t, found)
		all = append(all, found...)
	}
	return all
}

// listed is what the document inside a page says of an event or a finding.
type listed struct {
	Channels []string
	Start    json.Number `json:"start_s"`
}

// onPage is the part of the document that the tests need.
type onPage struct {
	Captures []struct {
		Channels []struct {
			Name  string
			Slots []struct{ Name string }
		}
		Events, Findings []listed
	}
}

// expected is the reading that choosing f must give: the first pulse of its
// channel at or after its start, else its last; false where there is none.
func (d *onPage) expected(t *testing.T, f listed, pulses map[string][]stripReading) (stripReading, bool) {
	t.Helper()
	var order []string
	for _, name := range f.Channels {
		order = append(order, name)
		for _, c := range d.Captures[0].Channels {
			for _, s := range c.Slots {
				if c.Name == name {
					order = append(order, s.Name)
				}
			}
		}
	}
	for _, c := range d.Captures[0].Channels {
		order = append(order, c.Name)
		for _, s := range c.Slots {
			order = append(order, s.Name)
		}
	}
	for _, name := range order {
		rows := pulses[name]
		if len(rows) == 0 {
			continue
		}
		for _, row := range rows {
			if rational(t, row.TimeS).Cmp(rational(t, f.Start.String())) >= 0 {
				return row, true
			}
		}
		return rows[len(rows)-1], true
	}
	return stripReading{}, false
}

func rational(t *testing.T, s string) *big.Rat {
	t.Helper()
	r, ok := new(big.Rat).SetString(s)
	require.True(t, ok, s)
	return r
}

// Whatever is chosen on the page of a committed capture, by click or by key,
// reads as pulses prints it; and the page asks for nothing and says nothing.
func TestPageOfEveryCapture(t *testing.T) {
	b := newBrowser(t)
	chosen := 0
	for _, capture := range committedCaptures(t) {
		t.Run(strings.TrimPrefix(capture, "../../testdata/"), func(t *testing.T) {
			file := filepath.Join(t.TempDir(), "page.html")
			asJSON := try("check", "--json", "--html", file, capture)
			if _, err := os.Stat(file); err != nil {
				require.Equal(t, exitUnreadable, asJSON.code, "no page, and no error")
				return
			}
			p := b.tab(t).open(file)
			assert.JSONEq(t, asJSON.out, ask[string](p, `document.getElementById('widthwise-check').textContent`))
			var d onPage
			require.NoError(t, json.Unmarshal([]byte(asJSON.out), &d))
			all := append(d.Captures[0].Events, d.Captures[0].Findings...)
			pulses := pulsesOf(t, capture)
			for _, how := range []string{`row.click()`, `press(row, 'Enter')`} {
				got := ask[[]stripReading](p, `(() => {`+inPage+`
					const blank = {channel: '', timeS: '', widthUs: '', intervalUs: ''};
					return [...document.querySelectorAll('[data-finding]')].map((row) => { Object.assign(strip.dataset, blank); `+how+`; return read(); });
				})()`)
				require.Len(t, got, min(len(all), 500))
				for i, f := range all[:len(got)] {
					want, _ := d.expected(t, f, pulses)
					require.Equal(t, want, got[i], "row %d", i)
					chosen++
				}
			}
			for name := range pulses {
				assert.True(t, ask[bool](p, fmt.Sprintf(`[...document.querySelectorAll('[data-channel]')].some((lane) => lane.dataset.channel === %q)`, name)), name)
			}
			p.quiet(file)
		})
	}
	require.Greater(t, chosen, 100)
}

// Walking along the lanes pulse by pulse gives every row of pulses, exactly.
func TestPageReadsEveryPulse(t *testing.T) {
	file := demoPage(t)
	capture := filepath.Join(t.TempDir(), "demo.toml")
	text, err := demoFiles.ReadFile("demo.toml")
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(capture, text, 0o666))
	p := newBrowser(t).tab(t).open(file)
	for name, want := range pulsesOf(t, capture) {
		got := ask[[]stripReading](p, fmt.Sprintf(`(() => {%s
			const lane = [...document.querySelectorAll('.lane')].find((l) => l.dataset.channel === %q);
			const all = [];
			press(lane, 'Home');
			while (all.length === 0 || all.at(-1).TimeS !== read().TimeS) { all.push(read()); press(lane, 'ArrowRight'); }
			return all;
		})()`, inPage, name))
		require.Equal(t, want, got)
	}
}

// A person zooms with the wheel from the whole capture to one pulse, clicks it
// and reads what pulses says; then measures it between two ticks.
func TestPageZoomsToOnePulse(t *testing.T) {
	file := demoPage(t)
	p := newBrowser(t).tab(t).open(file)
	box := ask[[]float64](p, `(() => { const b = document.querySelector('[data-channel=rudder].lane').getBoundingClientRect(); return [b.left, b.top, b.width, b.height]; })()`)
	x, y := box[0]+box[2]/3, box[1]+box[3]/2
	before := ask[string](p, `document.querySelector('.ruler canvas').toDataURL()`)
	for range 30 {
		call(p, input.DispatchMouseEvent, input.DispatchMouseEventParams{Type: input.DispatchMouseEventTypeMouseWheel, X: x, Y: y, DeltaX: 1e-6, DeltaY: -120})
	}
	p.do(chromedp.MouseClickXY(x, y))
	got := ask[stripReading](p, `(() => {`+inPage+`return read(); })()`)
	assert.Equal(t, "rudder", got.Channel)
	assert.NotEqual(t, before, ask[string](p, `new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(() => done(document.querySelector('.ruler canvas').toDataURL()))))`))
	assert.Zero(t, ask[float64](p, `scrollY`), "the wheel zooms; the page stays")
	assert.InDelta(t, 20, float64FromText(t, got.TimeS), 0.05, "a third of 60 s")

	p.do(chromedp.KeyEvent("1"), chromedp.KeyEvent(kb.ArrowRight), chromedp.KeyEvent("2"))
	next := ask[stripReading](p, `(() => {`+inPage+`return read(); })()`)
	between := ask[string](p, `document.querySelector('.between').textContent`)
	interval := new(big.Rat).Sub(rational(t, next.TimeS), rational(t, got.TimeS))
	assert.Contains(t, between, "between them "+new(big.Rat).Mul(interval, big.NewRat(1000, 1)).FloatString(4)+" ms")
	p.quiet(file)
}

func float64FromText(t *testing.T, s string) float64 {
	t.Helper()
	f, _ := rational(t, s).Float64()
	return f
}

// The table of findings is one stop of the keyboard, and so is every lane.
func TestPageByKeyboard(t *testing.T) {
	file := demoPage(t)
	p := newBrowser(t).tab(t).open(file)
	where := func() string {
		return ask[string](p, `(document.activeElement.dataset.channel || document.activeElement.dataset.finding || document.activeElement.dataset.move || document.activeElement.tagName)`)
	}
	var stops []string
	for range 60 {
		p.do(chromedp.KeyEvent(kb.Tab))
		stop := where()
		if stop == "BODY" {
			break
		}
		stops = append(stops, stop)
	}
	for _, want := range []string{"whole", "throttle", "rudder", "winch"} {
		assert.Contains(t, stops, want)
	}
	rows := ask[int](p, `document.querySelectorAll('[data-finding]').length`)
	inTable := 0
	kinds := ask[[]string](p, `[...document.querySelectorAll('[data-finding]')].map((r) => r.dataset.finding)`)
	for _, stop := range stops {
		for _, kind := range kinds {
			if stop == kind {
				inTable++
				break
			}
		}
	}
	require.Greater(t, rows, 5)
	assert.Equal(t, 1, inTable, "one row of the table takes part in the order of tabs: %v", stops)

	p.do(chromedp.Focus(chromedp.CSS("[data-finding]")), chromedp.KeyEvent(kb.ArrowDown), chromedp.KeyEvent(kb.ArrowDown), chromedp.KeyEvent(kb.Enter))
	assert.Equal(t, kinds[2], where())
	assert.NotEmpty(t, ask[stripReading](p, `(() => {`+inPage+`return read(); })()`).TimeS)
}

// An event is chosen from its words as it is from the table.
func TestPageShowsEventsFromTheirWords(t *testing.T) {
	p := newBrowser(t).tab(t).open(demoPage(t))
	same := ask[[]bool](p, `(() => {`+inPage+`
		return [...document.querySelectorAll('[data-show-event]')].map((button) => {
			button.click();
			const fromWords = JSON.stringify(read());
			document.querySelector('[data-index=e' + button.dataset.showEvent + ']').click();
			return fromWords === JSON.stringify(read());
		});
	})()`)
	assert.Equal(t, []bool{true, true, true}, same)
}

// The wheel over a chart that is shown whole scrolls the page.
func TestPageLetsTheWheelGo(t *testing.T) {
	p := newBrowser(t).tab(t).open(demoPage(t))
	call(p, input.DispatchMouseEvent, input.DispatchMouseEventParams{Type: input.DispatchMouseEventTypeMouseWheel, X: 600, Y: 300, DeltaX: 1e-6, DeltaY: 300})
	assert.Greater(t, ask[float64](p, `new Promise((done) => setTimeout(() => done(scrollY), 300))`), 100.0)
}

// A narrow screen shows everything without scrolling sideways, in both schemes,
// and a page without DecompressionStream inflates by itself.
func TestPageOnManyScreens(t *testing.T) {
	file := demoPage(t)
	b := newBrowser(t)
	for _, scheme := range []string{"light", "dark"} {
		for _, width := range []int64{380, 1280, 2400} {
			t.Run(fmt.Sprint(scheme, width), func(t *testing.T) {
				p := b.tab(t, chromedp.EmulateViewport(width, 800))
				call(p, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}})
				call(p, page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{Source: `delete globalThis.DecompressionStream`})
				p.open(file)
				assert.LessOrEqual(t, ask[int64](p, `document.documentElement.scrollWidth`), width)
				// The trace is there, in a colour that stands out from its paper.
				contrast := ask[float64](p, `(() => {
					const canvas = document.querySelector('.lane canvas'), pen = canvas.getContext('2d');
					const data = pen.getImageData(0, 0, canvas.width, canvas.height).data;
					let ink = 0;
					const dark = matchMedia('(prefers-color-scheme: dark)').matches;
					for (let i = 0; i < data.length; i += 4) if (data[i + 3] > 200 && (dark ? data[i] > 200 : data[i] < 60)) ink++;
					return ink;
				})()`)
				assert.Greater(t, contrast, float64(width)/2, "pixels of ink")
				p.quiet(file)
			})
		}
	}
}

// A narrow screen shows the verdicts without scrolling along the table, and an
// overview of many lanes leaves each of them room.
func TestPageShowsWhatMattersFirst(t *testing.T) {
	var names []string
	for i := range 17 {
		names = append(names, fmt.Sprintf("D%d", i))
	}
	file, _ := pageOf(t, tableOf(t, names, 100, nil))
	p := newBrowser(t).tab(t, chromedp.EmulateViewport(390, 800)).open(file)
	right := ask[float64](p, `Math.max(...[...document.querySelectorAll('.figures .verdict')].map((v) => v.getBoundingClientRect().right))`)
	assert.Positive(t, right)
	assert.Less(t, right, 390.0)
	assert.GreaterOrEqual(t, ask[float64](p, `document.querySelector('.overview').offsetHeight`), 17*8.0)
}

func TestPagePrints(t *testing.T) {
	p := newBrowser(t).tab(t)
	call(p, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: "dark"}}})
	p.open(demoPage(t))
	pdf, err := chromedp.Run(p, chromedp.PrintToPDF())
	require.NoError(t, err)
	assert.True(t, bytes.HasPrefix(pdf, []byte("%PDF-")))
	call(p, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: "print", Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: "dark"}}})
	assert.Equal(t, "rgb(255, 255, 255)", ask[string](p, `getComputedStyle(document.body).backgroundColor`), "paper is white")
	assert.Equal(t, "none", ask[string](p, `getComputedStyle(document.querySelector('.tools')).display`))
	for _, above := range []string{".overview", ".ruler", "h3", ".count"} {
		assert.Equal(t, "avoid", ask[string](p, `getComputedStyle(document.querySelector('`+above+`')).breakAfter`), "%s stays with what it heads", above)
	}
}

// A page that is served asks the server for nothing but itself, and its policy
// lets nothing in that was not written with it.
func TestPageKeepsToItself(t *testing.T) {
	file := demoPage(t)
	text, err := os.ReadFile(file)
	require.NoError(t, err)
	policy := string(text[bytes.Index(text, []byte(`content="default-src`)):])
	policy = policy[:strings.Index(policy, ">")]
	assert.Contains(t, policy, "default-src &#39;none&#39;")
	for _, never := range []string{"unsafe-inline", "unsafe-eval", "http", "*"} {
		assert.NotContains(t, policy, never)
	}
	for _, never := range []string{" onclick=", " onload=", " style=", "src=", "@import"} {
		assert.NotContains(t, string(text), never)
	}
	p := newBrowser(t).tab(t).open(file)
	call(p, network.SetCacheDisabled, network.SetCacheDisabledParams{CacheDisabled: true})
	ask[int](p, `(() => { const s = document.createElement('script'); s.textContent = 'document.title = "let in"'; document.head.append(s); return 0; })()`)
	assert.NotEqual(t, "let in", ask[string](p, `document.title`))
}

// shownFrom is where the view begins, as a lane tells it while nothing is chosen.
func (p *tab) shownFrom() float64 {
	p.t.Helper()
	return ask[float64](p, `new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(() => done(Number(document.querySelector('.lane').getAttribute('aria-valuenow'))))))`)
}

// box is where an element lies: left, top, width, height.
func (p *tab) box(selector string) []float64 {
	p.t.Helper()
	return ask[[]float64](p, fmt.Sprintf(`(() => { const b = document.querySelector(%q).getBoundingClientRect(); return [b.left, b.top, b.width, b.height]; })()`, selector))
}

// A window is drawn and moved in the overview, and the paper is drawn along.
func TestPageByMouse(t *testing.T) {
	file := demoPage(t)
	p := newBrowser(t).tab(t).open(file)
	overview, lane := p.box(".overview"), p.box("[data-channel=throttle].lane")
	along := func(box []float64, from, to float64) {
		y := box[1] + box[3]/2
		p.do(chromedp.DragAndDropXY(box[0]+from*box[2], y, box[0]+to*box[2], y, 10))
	}
	along(overview, 0.25, 0.75)
	assert.InDelta(t, 15, p.shownFrom(), 1, "a new window")
	along(overview, 0.5, 0.6)
	assert.InDelta(t, 21, p.shownFrom(), 1, "moved")
	along(lane, 0.6, 0.4)
	assert.InDelta(t, 27, p.shownFrom(), 1.5, "the paper drawn along")
	p.do(chromedp.Click(chromedp.CSS("[data-move=whole]")))
	assert.Zero(t, p.shownFrom())

	for _, share := range []float64{0.2, 0.4} {
		p.do(chromedp.MouseClickXY(lane[0]+share*lane[2], lane[1]+lane[3]/2, chromedp.ButtonModifiers(kb.ModifierShift)))
	}
	assert.Contains(t, ask[string](p, `document.querySelector('.between').textContent`), "between them 12.0")
	p.do(chromedp.Click(chromedp.CSS("[data-pencil='0']")))
	assert.Empty(t, ask[string](p, `document.querySelector('.between').textContent`))
	p.quiet(file)
}

func TestPageByFingers(t *testing.T) {
	p := newBrowser(t).tab(t, chromedp.EmulateViewport(380, 800, chromedp.EmulateTouch, chromedp.EmulateMobile))
	p.open(demoPage(t))
	ask[int](p, `(() => { document.querySelector('.chart').scrollIntoView(); return 0; })()`)
	lane := p.box("[data-channel=rudder].lane")
	y, middle := lane[1]+lane[3]/2, lane[0]+lane[2]/2
	fingers := []float64{1, 2}
	touch := func(kind input.DispatchTouchEventType, apart float64) {
		points := []*input.TouchPoint{}
		if apart > 0 {
			points = append(points, &input.TouchPoint{X: middle - apart, Y: y, ID: &fingers[0]}, &input.TouchPoint{X: middle + apart, Y: y, ID: &fingers[1]})
		}
		call(p, input.DispatchTouchEvent, input.DispatchTouchEventParams{Type: kind, TouchPoints: points})
	}
	touch(input.DispatchTouchEventTypeTouchStart, 20)
	for apart := 25.0; apart <= 120; apart += 5 {
		touch(input.DispatchTouchEventTypeTouchMove, apart)
	}
	touch(input.DispatchTouchEventTypeTouchEnd, 0)
	assert.InDelta(t, 25, p.shownFrom(), 3, "a sixth of 60 s about its middle")
	assert.Equal(t, 1.0, ask[float64](p, `visualViewport.scale`), "the chart is pinched, not the page")
	p.do(chromedp.TapXY(middle, y))
	assert.Equal(t, "rudder", ask[stripReading](p, `(() => {`+inPage+`return read(); })()`).Channel)
}
