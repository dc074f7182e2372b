package handover

import (
	"bytes"
	"encoding/base64"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/plot/browser"
)

var shots = flag.String("shots", "", "keep pictures of the page in this folder")

// hostile is what somebody might put into a house's file to have it run, load
// or break something in somebody else's browser.
const hostile = `"'><script>window.owned=1</script><img src=x onerror="window.owned=1"><style>*{display:none}</style>` +
	`<svg onload=window.owned=1><a href="javascript:window.owned=1">x</a>{{.}}</section></main>--><!-- </svg>]]>&lt;`

func open(t *testing.T, b *browser.Browser, page string, width, height int, phone bool) {
	name := filepath.Join(t.TempDir(), "visit.html")
	require.NoError(t, os.WriteFile(name, []byte(page), 0o644))
	if *shots != "" {
		require.NoError(t, os.WriteFile(filepath.Join(*shots, "visit.html"), []byte(page), 0o644))
	}
	b.Attach(width, height, phone)
	b.Ask("Network.enable", nil)
	b.Ask("Log.enable", nil)
	b.Ask("Runtime.enable", nil)
	b.Ask("Page.navigate", map[string]any{"url": "file://" + name})
	b.Until("the page is loaded", 20*time.Second, func() bool {
		return b.Eval(`location.protocol === "file:" && document.readyState === "complete" && [...document.images].every(i => i.complete)`) == true
	})
}

func keep(t *testing.T, name, data string) []byte {
	b, err := base64.StdEncoding.DecodeString(data)
	require.NoError(t, err)
	if *shots != "" {
		require.NoError(t, os.WriteFile(filepath.Join(*shots, name), b, 0o644))
	}
	return b
}

// Truth: what the README promises of the page, seen in a real browser.
func TestPageInABrowser(t *testing.T) {
	b := browser.Start(t)
	var requests, complaints []string
	b.Hear = func(method string, params map[string]any) {
		switch method {
		case "Network.requestWillBeSent":
			if url := params["request"].(map[string]any)["url"].(string); !strings.HasPrefix(url, "data:") {
				requests = append(requests, url)
			}
		case "Log.entryAdded", "Runtime.exceptionThrown":
			complaints = append(complaints, fmt.Sprint(params))
		}
	}
	for _, size := range []struct {
		name, text    string
		width, height int
		phone         bool
	}{{"phone", "", 390, 844, true}, {"landscape", "", 844, 390, true}, {"desktop", "", 1280, 900, false}, {"hostile", hostile, 390, 844, true}} {
		page := write(t, house(t, size.text))
		requests, complaints = nil, nil
		open(t, b, page, size.width, size.height, size.phone)
		what := size.name
		require.LessOrEqual(t, b.Eval("document.documentElement.scrollWidth"), float64(size.width), "%s: nothing is cut off at the side", what)
		require.Empty(t, b.Eval(cutOff), "%s: what is wider than the screen says so", what)
		require.Equal(t, true, b.Eval("[...document.images].length === 4 && [...document.images].every(i => i.naturalWidth > 0)"), "%s: the pictures show", what)
		require.Equal(t, float64(0), b.Eval(`document.querySelectorAll("script, iframe, object, embed, link, form, a[href^='javascript'], [onerror], [onload]").length`), what)
		require.Nil(t, b.Eval("window.owned ?? null"), "%s: nothing ran", what)
		require.Equal(t, "block", b.Eval(`getComputedStyle(document.querySelector("main")).display`), what)
		require.Equal(t, "700", b.Eval(`getComputedStyle(document.querySelector(".best")).fontWeight`), "%s: its own style applies", what)
		require.Equal(t, "Television at Orchard Farm"+size.text, b.Eval(`document.querySelector("h1").textContent`), what)
		// A script that got in all the same would not run.
		require.Equal(t, "blocked", b.Eval(`new Promise(done => {
				document.addEventListener("securitypolicyviolation", () => done("blocked"), { once: true });
				const s = document.createElement("script"); s.textContent = "window.owned = 2"; document.body.append(s);
				setTimeout(() => done(window.owned ? "ran" : "ignored"), 500) })`), what)
		require.Nil(t, b.Eval("window.owned ?? null"), what)
		require.Len(t, requests, 1, "%s: the page itself and nothing else is loaded", what)
		for _, c := range complaints {
			require.Contains(t, c, "script-src", "%s: the one complaint is about the script that was just put in", what)
		}
		if size.text == "" {
			height := b.Eval("document.documentElement.scrollHeight").(float64)
			b.Ask("Emulation.setDeviceMetricsOverride", map[string]any{"width": size.width, "height": int(height), "deviceScaleFactor": 1, "mobile": size.phone})
			shot := b.Ask("Page.captureScreenshot", map[string]any{"format": "png"})
			keep(t, size.name+".png", shot["data"].(string))
		}
	}
}

// cutOff lists what a reader of a narrow screen would miss: what stands beyond the
// screen's edge, and what can be pushed sideways without a line that says so.
const cutOff = `[...document.querySelectorAll("h1, h2, h3, p, li, th, td, dt, dd, b, figcaption")]
	.filter(e => !e.closest(".wide, thead") && e.getBoundingClientRect().right > innerWidth + 1)
	.concat([...document.querySelectorAll("main *")].filter(e => e.scrollWidth > e.clientWidth + 1 && e.clientWidth > 0 &&
		getComputedStyle(e).overflowX !== "visible" && !e.closest("thead") &&
		!(e.matches(".wide") && e.previousElementSibling?.matches(".push") && e.previousElementSibling.offsetHeight > 0)))
	.map(e => e.tagName + " " + e.className + " " + e.textContent.slice(0, 40)).join("; ")`

// Truth: common practice for print: no row, list entry or picture is torn, and
// no heading is left alone at the foot of a page.
func TestPageOnPaper(t *testing.T) {
	b := browser.Start(t)
	open(t, b, write(t, house(t, "")), 1280, 900, false)
	// A4 and US letter, in inches.
	for _, paper := range []struct {
		name          string
		width, height float64
	}{{"a4", 8.27, 11.69}, {"letter", 8.5, 11}} {
		pdf := keep(t, paper.name+".pdf", b.Ask("Page.printToPDF", map[string]any{
			"paperWidth": paper.width, "paperHeight": paper.height, "printBackground": false,
		})["data"].(string))
		pages := bytes.Count(pdf, []byte("/Type /Page\n"))
		require.GreaterOrEqual(t, pages, 2, paper.name)
		require.LessOrEqual(t, pages, 3, paper.name)
	}
	b.Ask("Emulation.setEmulatedMedia", map[string]any{"media": "print"})
	style := func(selector, property string) any {
		return b.Eval(fmt.Sprintf(`[...new Set([...document.querySelectorAll(%q)].map(e => getComputedStyle(e)[%q]))].join()`, selector, property))
	}
	require.Equal(t, "avoid", style("tr, li, figure, .answer, .climb, .set", "breakInside"))
	require.Equal(t, "avoid", style("h2, h3", "breakAfter"))
	require.Equal(t, "table-header-group", style("thead", "display"), "heads stand again on the next sheet")
	require.Equal(t, "visible", style(".wide", "overflowX"))
}
