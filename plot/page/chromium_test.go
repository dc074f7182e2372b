package page

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

// chromium is a real browser without a window, spoken to by its debugging
// protocol over a pair of pipes.
type chromium struct {
	t       *testing.T
	to      *os.File
	from    *bufio.Reader
	serial  int
	session string
}

// startChromium starts the browser or skips the test.
func startChromium(t *testing.T) *chromium {
	path, err := exec.LookPath("chromium")
	if err != nil {
		t.Skip("chromium is not installed: the page is not tested in a browser (apt-get install chromium)")
	}
	toRead, toWrite, err := os.Pipe()
	require.NoError(t, err)
	fromRead, fromWrite, err := os.Pipe()
	require.NoError(t, err)
	cmd := exec.Command(path, "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
		"--disable-background-networking", "--disable-component-update", "--disable-sync", "--disable-dev-shm-usage",
		"--mute-audio", "--remote-debugging-pipe", "--user-data-dir="+t.TempDir(), "about:blank")
	cmd.ExtraFiles = []*os.File{toRead, fromWrite}
	require.NoError(t, cmd.Start())
	toRead.Close()
	fromWrite.Close()
	require.NoError(t, fromRead.SetReadDeadline(time.Now().Add(3*time.Minute)))
	b := &chromium{t: t, to: toWrite, from: bufio.NewReader(fromRead)}
	t.Cleanup(func() {
		toWrite.Close()
		fromRead.Close()
		cmd.Process.Kill()
		cmd.Wait()
	})
	return b
}

// ask sends a command and returns its result, passing over events.
func (b *chromium) ask(method string, params map[string]any) map[string]any {
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
			Result map[string]any `json:"result"`
			Error  map[string]any `json:"error"`
		}
		require.NoError(b.t, json.Unmarshal(got[:len(got)-1], &answer))
		if answer.ID == b.serial {
			require.Nil(b.t, answer.Error, "%s", method)
			return answer.Result
		}
	}
}

// open opens an address as a phone of a common size would.
func (b *chromium) open(url string) {
	b.t.Helper()
	b.session = ""
	target := b.ask("Target.createTarget", map[string]any{"url": "about:blank"})["targetId"]
	b.session = b.ask("Target.attachToTarget", map[string]any{"targetId": target, "flatten": true})["sessionId"].(string)
	b.ask("Emulation.setDeviceMetricsOverride", map[string]any{"width": 390, "height": 844, "deviceScaleFactor": 2, "mobile": true})
	b.ask("Page.enable", nil)
	b.ask("Page.navigate", map[string]any{"url": url})
}

// eval evaluates JavaScript as after a touch and returns its value.
func (b *chromium) eval(script string) any {
	b.t.Helper()
	r := b.ask("Runtime.evaluate", map[string]any{
		"expression": script, "returnByValue": true, "awaitPromise": true, "userGesture": true,
	})
	require.Nil(b.t, r["exceptionDetails"], "%s", script)
	return r["result"].(map[string]any)["value"]
}

// text is what an element says.
func (b *chromium) text(id string) string {
	b.t.Helper()
	s, _ := b.eval(fmt.Sprintf("document.getElementById(%q)?.textContent ?? ''", id)).(string)
	return strings.TrimSpace(s)
}

// until waits for something to become so, and returns how long it took.
func (b *chromium) until(what string, limit time.Duration, so func() bool) time.Duration {
	b.t.Helper()
	began := time.Now()
	for !so() {
		require.Less(b.t, time.Since(began), limit, "%s", what)
		time.Sleep(20 * time.Millisecond)
	}
	return time.Since(began)
}
