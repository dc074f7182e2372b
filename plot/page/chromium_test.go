package page

import (
	"testing"
	"time"

	"rooftone/plot/browser"
)

// chromium is the browser that the page is tested in.
type chromium struct {
	*browser.Browser
	t *testing.T
}

func startChromium(t *testing.T) *chromium { return &chromium{browser.Start(t), t} }

func (b *chromium) ask(method string, params map[string]any) map[string]any {
	b.t.Helper()
	return b.Ask(method, params)
}

func (b *chromium) open(url string) {
	b.t.Helper()
	b.Open(url)
}

func (b *chromium) eval(script string) any {
	b.t.Helper()
	return b.Eval(script)
}

func (b *chromium) text(id string) string {
	b.t.Helper()
	return b.Text(id)
}

func (b *chromium) until(what string, limit time.Duration, so func() bool) time.Duration {
	b.t.Helper()
	return b.Until(what, limit, so)
}
