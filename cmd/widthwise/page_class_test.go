//go:build browser

package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// handIns hands in a capture for each name and writes a rubric.
func handIns(t *testing.T, names ...string) (rubric, folder string) {
	t.Helper()
	folder = t.TempDir()
	for _, name := range names {
		require.Equal(t, exitInOrder, try("convert", "../../testdata/scenarios/healthy.toml", filepath.Join(folder, name+".csv")).code)
	}
	require.NoError(t, os.WriteFile(filepath.Join(folder, "Nobody.csv"), []byte("nothing\n"), 0o666))
	rubric = filepath.Join(t.TempDir(), "rubric.toml")
	require.NoError(t, os.WriteFile(rubric, []byte(strings.Join([]string{
		`title = "Lay <the> rudder"`, `[[criterion]]`, `name = "frame period"`, `points = 3`, `channel = "any"`,
		`measure = "period_us.nominal"`, `full = [21900, 22100]`,
	}, "\n")), 0o666))
	return rubric, folder
}

// Every student of a class has a sheet of their own, with nothing of another's.
func TestClassPage(t *testing.T) {
	names := []string{"Ana", "Bo <b>Öst", "=1+1", "Zoë"}
	rubric, folder := handIns(t, names...)
	file := filepath.Join(t.TempDir(), "class.html")
	got := try("grade", "--json", "--html", file, rubric, folder)
	require.Equal(t, exitInOrder, got.code, got.err)
	p := newBrowser(t).tab(t)
	p.do(chromedp.Navigate("file://" + file))
	p.quiet(file)
	assert.JSONEq(t, got.out, ask[string](p, `document.getElementById('widthwise-grade').textContent`))
	sheets := ask[map[string]string](p, `Object.fromEntries([...document.querySelectorAll('[data-student]')].map((s) => [s.dataset.student, s.textContent]))`)
	require.Len(t, sheets, len(names)+1)
	for _, name := range append(names, "Nobody") {
		require.Contains(t, sheets, name)
		for other, text := range sheets {
			if other == name {
				assert.Contains(t, text, name)
			} else {
				assert.NotContains(t, text, name, "on the sheet of %s", other)
			}
		}
	}
	assert.Contains(t, sheets["Nobody"], "0 of 3")
	assert.Equal(t, 3, ask[int](p, `document.querySelector('[data-student=Ana]').querySelectorAll('svg .trace').length`), "a small lane for each channel")
	assert.True(t, ask[bool](p, `[...document.querySelectorAll('svg .trace')].every((path) => path.getTotalLength() > 300)`))
	call(p, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: "print"})
	assert.Equal(t, []string{"page"}, ask[[]string](p, `[...new Set([...document.querySelectorAll('[data-student]')].map((s) => getComputedStyle(s).breakBefore))]`))
}

func TestClassPageIsAccessible(t *testing.T) {
	rubric, folder := handIns(t, "Ana", "Bo")
	file := filepath.Join(t.TempDir(), "class.html")
	require.Equal(t, exitInOrder, try("grade", "--html", file, rubric, folder).code)
	b := newBrowser(t)
	for _, scheme := range []string{"light", "dark"} {
		for _, width := range []int64{380, 1280} {
			t.Run(fmt.Sprint(scheme, width), func(t *testing.T) {
				p := b.tab(t, chromedp.EmulateViewport(width, 900))
				call(p, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}})
				p.do(chromedp.Navigate("file://" + file))
				assert.LessOrEqual(t, ask[int64](p, `document.documentElement.scrollWidth`), width)
				assert.Empty(t, ask[[]string](p, `[...document.querySelectorAll('.sheet th, .figures thead th')].filter((th) => {
					const words = document.createRange();
					words.selectNodeContents(th);
					return words.getClientRects().length > th.textContent.split(' ').length;
				}).map((th) => th.textContent)`), "lines break between words")
				p.accessible()
			})
		}
	}
}
