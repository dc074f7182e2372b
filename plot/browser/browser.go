// Package browser drives a real browser in tests, by its debugging protocol.
package browser

import (
	"bufio"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// Browser is a real browser without a window, spoken to by its debugging
// protocol over a pair of pipes. Whatever goes wrong ends the test.
type Browser struct {
	t       testing.TB
	to      *os.File
	from    *bufio.Reader
	serial  int
	session string

	// Hear, when not nil, is told the events that come while an answer is
	// waited for.
	Hear func(method string, params map[string]any)
}

// Start starts Chromium, or skips the test where there is none. It ends with
// the test.
func Start(t testing.TB) *Browser {
	path, err := exec.LookPath("chromium")
	if err != nil {
		t.Skip("chromium is not installed: the page is not tested in a browser (apt-get install chromium)")
	}
	toRead, toWrite, err := os.Pipe()
	require.NoError(t, err)
	fromRead, fromWrite, err := os.Pipe()
	require.NoError(t, err)
	folder, err := os.MkdirTemp("", "rooftone-browser-")
	require.NoError(t, err)
	cmd := exec.Command(path, "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
		"--disable-background-networking", "--disable-component-update", "--disable-sync", "--disable-dev-shm-usage",
		"--mute-audio", "--remote-debugging-pipe", "--user-data-dir="+folder, "about:blank")
	cmd.ExtraFiles = []*os.File{toRead, fromWrite}
	require.NoError(t, cmd.Start())
	toRead.Close()
	fromWrite.Close()
	require.NoError(t, fromRead.SetReadDeadline(time.Now().Add(3*time.Minute)))
	b := &Browser{t: t, to: toWrite, from: bufio.NewReader(fromRead)}
	t.Cleanup(func() {
		// Asked to leave, it takes its children along, which write into the
		// folder until then.
		fmt.Fprintf(toWrite, `{"id":0,"method":"Browser.close"}%c`, 0)
		late := time.AfterFunc(5*time.Second, func() { cmd.Process.Kill() })
		cmd.Wait()
		late.Stop()
		toWrite.Close()
		fromRead.Close()
		for range 20 {
			if os.RemoveAll(folder) == nil {
				break
			}
			time.Sleep(50 * time.Millisecond)
		}
	})
	return b
}

// Ask sends a command and returns its result.
func (b *Browser) Ask(method string, params map[string]any) map[string]any {
	b.t.Helper()
	b.serial++
	message := map[string]any{"id": b.serial, "method": method, "params": params}
	if b.session != "" {
		message["sessionId"] = b.session
	}
	text, err := json.Marshal(message)
	require.NoError(b.t, err)
	_, err = b.to.Write(append(text, 0))
	require.NoError(b.t, err)
	for {
		got, err := b.from.ReadBytes(0)
		require.NoError(b.t, err, "waiting for the browser's answer to %s", method)
		var answer struct {
			ID     int            `json:"id"`
			Method string         `json:"method"`
			Params map[string]any `json:"params"`
			Result map[string]any `json:"result"`
			Error  map[string]any `json:"error"`
		}
		require.NoError(b.t, json.Unmarshal(got[:len(got)-1], &answer))
		if answer.Method != "" && b.Hear != nil {
			b.Hear(answer.Method, answer.Params)
		}
		if answer.ID == b.serial {
			require.Nil(b.t, answer.Error, "%s", method)
			return answer.Result
		}
	}
}

// Attach opens an empty page of a size in CSS pixels, as a phone's or not.
func (b *Browser) Attach(width, height int, phone bool) {
	b.t.Helper()
	b.session = ""
	target := b.Ask("Target.createTarget", map[string]any{"url": "about:blank"})["targetId"]
	b.session = b.Ask("Target.attachToTarget", map[string]any{"targetId": target, "flatten": true})["sessionId"].(string)
	scale := 1
	if phone {
		scale = 2
	}
	b.Ask("Emulation.setDeviceMetricsOverride", map[string]any{"width": width, "height": height, "deviceScaleFactor": scale, "mobile": phone})
	b.Ask("Page.enable", nil)
}

// Open opens an address as a phone of a common size would.
func (b *Browser) Open(url string) {
	b.t.Helper()
	b.Attach(390, 844, true)
	b.Ask("Page.navigate", map[string]any{"url": url})
}

// Eval evaluates JavaScript as after a touch and returns its value.
func (b *Browser) Eval(script string) any {
	b.t.Helper()
	r := b.Ask("Runtime.evaluate", map[string]any{
		"expression": script, "returnByValue": true, "awaitPromise": true, "userGesture": true,
	})
	require.Nil(b.t, r["exceptionDetails"], "%s", script)
	return r["result"].(map[string]any)["value"]
}

// Text is what an element says.
func (b *Browser) Text(id string) string {
	b.t.Helper()
	s, _ := b.Eval(fmt.Sprintf("document.getElementById(%q)?.textContent ?? ''", id)).(string)
	return strings.TrimSpace(s)
}

// Until waits for something to become so, and returns how long it took.
func (b *Browser) Until(what string, limit time.Duration, so func() bool) time.Duration {
	b.t.Helper()
	began := time.Now()
	for !so() {
		require.Less(b.t, time.Since(began), limit, "%s", what)
		time.Sleep(20 * time.Millisecond)
	}
	return time.Since(began)
}
