//go:build browser

package main

import (
	"context"
	"fmt"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A browser is one headless Chromium with tabs of its own. It talks to nobody.
type browser struct {
	context.Context
}

func newBrowser(t *testing.T) *browser {
	t.Helper()
	options := append(chromedp.DefaultExecAllocatorOptions[:],
		chromedp.NoSandbox, chromedp.UserDataDir(t.TempDir()), chromedp.Flag("disable-quic", true),
		chromedp.Flag("disable-component-update", true), chromedp.Flag("disable-sync", true))
	allocator, stop := chromedp.NewExecAllocator(context.Background(), options...)
	ctx, quit := chromedp.NewContext(allocator)
	t.Cleanup(func() { quit(); stop() })
	require.NoError(t, chromedp.Do(ctx), "Chromium is needed: the package chromium")
	return &browser{ctx}
}

// tab is a page in the browser. It notes what the page says on the console and
// what it asks the network for.
type tab struct {
	context.Context
	t       *testing.T
	mu      sync.Mutex
	console []string
	asked   []string
}

type action = chromedp.Action[chromedp.Void]

func (b *browser) tab(t *testing.T, before ...action) *tab {
	t.Helper()
	ctx, closeTab := chromedp.NewContext(b)
	ctx, stop := context.WithTimeout(ctx, 3*time.Minute)
	t.Cleanup(func() { stop(); closeTab() })
	p := &tab{Context: ctx, t: t}
	require.NoError(t, chromedp.Listen(ctx, p.listen))
	call(p, network.Enable, network.EnableParams{})
	call(p, log.Enable, cdp.Empty{})
	p.do(append([]action{chromedp.EmulateViewport(1280, 900)}, before...)...)
	return p
}

func (p *tab) listen(event any) {
	p.mu.Lock()
	defer p.mu.Unlock()
	switch e := event.(type) {
	case *runtime.EventConsoleAPICalled:
		p.console = append(p.console, fmt.Sprintf("console.%s", e.Type))
	case *runtime.EventExceptionThrown:
		p.console = append(p.console, fmt.Sprintf("%+v", *e.ExceptionDetails))
	case *log.EventEntryAdded:
		p.console = append(p.console, e.Entry.Text)
	case *network.EventRequestWillBeSent:
		p.asked = append(p.asked, e.Request.URL)
	}
}

func (p *tab) do(actions ...action) {
	p.t.Helper()
	require.NoError(p.t, chromedp.Do(p, actions...))
}

// call sends a command of the protocol that no action covers.
func call[P, R any](p *tab, command cdp.Command[P, R], params P) R {
	p.t.Helper()
	out, err := chromedp.Call(p, command, params)
	require.NoError(p.t, err)
	return out
}

// open shows a page and waits until its charts are drawn.
func (p *tab) open(file string) *tab {
	p.t.Helper()
	p.do(chromedp.Navigate("file://"+file), chromedp.WaitReady(chromedp.CSS("html[data-ready]")))
	return p
}

// ask evaluates a script in the page.
func ask[T any](p *tab, script string) T {
	p.t.Helper()
	out, err := chromedp.Run(p, chromedp.Evaluate[T](script, chromedp.EvalAwaitPromise))
	require.NoError(p.t, err, script)
	return out
}

// quiet requires that the page said nothing and asked for nothing but itself.
func (p *tab) quiet(file string) {
	p.t.Helper()
	p.mu.Lock()
	defer p.mu.Unlock()
	assert.Empty(p.t, p.console)
	assert.Equal(p.t, []string{"file://" + file}, p.asked)
}

// pageOf writes the page of captures and returns its file and what came out.
func pageOf(t *testing.T, args ...string) (string, outcome) {
	t.Helper()
	file := filepath.Join(t.TempDir(), "page.html")
	out := try(append([]string{"check", "--html", file}, args...)...)
	require.FileExists(t, file, out.err)
	return file, out
}

// demoPage writes the page of the built-in capture.
func demoPage(t *testing.T) string {
	t.Helper()
	file := filepath.Join(t.TempDir(), "demo.html")
	require.Equal(t, exitFailed, try("demo", "--html", file).code)
	return file
}
