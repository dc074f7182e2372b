package page

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// Truth: the promises of the package's comment, asked for one by one.
func TestWhoMayLook(t *testing.T) {
	p := New(Options{Channels: some(t, 22), Names: []string{"attic"}, Mark: func(context.Context, Mark) (string, error) { return "kept", nil }})
	p.port = "8080"
	mark := map[string]string{"Content-Type": "application/json", "Origin": "http://10.0.0.5:8080"}
	for _, x := range []struct {
		about, method, host, path, body string
		header                          map[string]string
		status                          int
	}{
		{"the page", "GET", "10.0.0.5:8080", p.Path(), "", nil, 200},
		{"by name", "GET", "attic:8080", p.Path(), "", nil, 200},
		{"by IPv6", "GET", "[fd00::5]:8080", p.Path(), "", nil, 200},
		{"another site's name", "GET", "evil.example:8080", p.Path(), "", nil, 421},
		{"another port", "GET", "10.0.0.5:9090", p.Path(), "", nil, 421},
		{"no token", "GET", "10.0.0.5:8080", "/", "", nil, 404},
		{"a wrong token", "GET", "10.0.0.5:8080", "/" + strings.Repeat("A", 22) + "/", "", nil, 404},
		{"a part of the token", "GET", "10.0.0.5:8080", p.Path()[:10] + "/", "", nil, 404},
		{"a wrong token's events", "GET", "10.0.0.5:8080", "/x/events", "", nil, 404},
		{"what there is not", "GET", "10.0.0.5:8080", p.Path() + "page.go", "", nil, 404},
		{"a way out", "GET", "10.0.0.5:8080", p.Path() + "../page.go", "", nil, 404},
		{"another method", "DELETE", "10.0.0.5:8080", p.Path(), "", nil, 405},
		{"a mark", "POST", "10.0.0.5:8080", p.Path() + "mark", `{"place":"chimney"}`, mark, 200},
		{"a mark from another site", "POST", "10.0.0.5:8080", p.Path() + "mark", `{"place":"chimney"}`, map[string]string{"Content-Type": "application/json", "Origin": "http://evil.example"}, 403},
		{"a mark from nowhere", "POST", "10.0.0.5:8080", p.Path() + "mark", `{"place":"chimney"}`, map[string]string{"Content-Type": "application/json"}, 403},
		{"a mark by a form", "POST", "10.0.0.5:8080", p.Path() + "mark", `{"place":"chimney"}`, map[string]string{"Content-Type": "text/plain", "Origin": "http://10.0.0.5:8080"}, 403},
		{"a mark with a wrong token", "POST", "10.0.0.5:8080", "/x/mark", `{"place":"chimney"}`, mark, 404},
		{"a mark without a name", "POST", "10.0.0.5:8080", p.Path() + "mark", `{"place":"  "}`, mark, 400},
		{"a mark that is none", "POST", "10.0.0.5:8080", p.Path() + "mark", `chimney`, mark, 400},
		{"a mark too long", "POST", "10.0.0.5:8080", p.Path() + "mark", `{"place":"` + strings.Repeat("a", mostBytes) + `"}`, mark, 400},
		{"a reset that is not offered", "POST", "10.0.0.5:8080", p.Path() + "reset", `{}`, mark, 404},
	} {
		r := httptest.NewRequest(x.method, "http://"+x.host+x.path, strings.NewReader(x.body))
		for k, v := range x.header {
			r.Header.Set(k, v)
		}
		w := httptest.NewRecorder()
		p.ServeHTTP(w, r)
		require.Equal(t, x.status, w.Code, x.about)
		csp := w.Header().Get("Content-Security-Policy")
		require.Contains(t, csp, "default-src 'none'", x.about)
		require.NotContains(t, csp, "unsafe", x.about)
		if x.status != 200 {
			require.NotContains(t, w.Body.String(), p.token, x.about)
		}
	}
}

// Truth: 128 random bits each.
func TestTokensDiffer(t *testing.T) {
	a, b := New(Options{}), New(Options{})
	require.NotEqual(t, a.token, b.token)
	require.Len(t, a.token, 22)
}

// Truth: nothing outside the page may be asked for, and nothing inline run.
func TestNothingFromOutside(t *testing.T) {
	list, err := assets.ReadDir("assets")
	require.NoError(t, err)
	for _, e := range list {
		text, err := assets.ReadFile("assets/" + e.Name())
		require.NoError(t, err)
		got := strings.ReplaceAll(string(text), `xmlns="http://www.w3.org/2000/svg"`, "")
		for _, word := range []string{"http:", "https:", "//cdn", "onclick=", "style=", "eval(", "innerHTML"} {
			require.NotContains(t, got, word, e.Name())
		}
	}
}

// look opens the events and returns the connection.
func look(t *testing.T, p *Page, address string) net.Conn {
	c, err := net.Dial("tcp", address)
	require.NoError(t, err)
	t.Cleanup(func() { c.Close() })
	fmt.Fprintf(c, "GET %sevents HTTP/1.1\r\nHost: %s\r\n\r\n", p.Path(), address)
	return c
}

// Truth: the meter's clock. Two hundred clients, half of which read nothing,
// and connections that say nothing must not keep Publish from returning, and
// one who reads still sees it all.
func TestClientsDoNotSlowTheMeter(t *testing.T) {
	p := New(Options{Channels: some(t, 14, 16, 18, 20, 22, 24, 26, 28)})
	l, _ := serve(t, p, "loopback")
	address := l.Addr().String()
	reader := look(t, p, address)
	for i := range mostClients - 1 {
		c := look(t, p, address)
		if i%2 == 0 {
			go io.Copy(io.Discard, c)
		}
	}
	for range 20 { // half-open: they never ask
		c, err := net.Dial("tcp", address)
		require.NoError(t, err)
		t.Cleanup(func() { c.Close() })
	}
	require.Eventually(t, func() bool { return p.Clients() == mostClients }, 10*time.Second, 20*time.Millisecond)

	// One too many is told so.
	answer, err := http.Get("http://" + address + p.Path() + "events")
	require.NoError(t, err)
	answer.Body.Close()
	require.Equal(t, http.StatusServiceUnavailable, answer.StatusCode)

	events := make(chan int, 1)
	go func() {
		n := 0
		lines := bufio.NewScanner(reader)
		lines.Buffer(nil, 1<<20)
		for lines.Scan() {
			if bytes.HasPrefix(lines.Bytes(), []byte("data: ")) {
				n++
				if n == 25 {
					events <- n
					return
				}
			}
		}
	}()
	var longest time.Duration
	ctx, cancel := context.WithTimeout(context.Background(), 15*time.Second)
	defer cancel()
	published := 0
	for n := int64(0); ; n++ {
		for _, c := range p.Channels {
			began := time.Now()
			p.Publish(reading(c, n, began, 6, 8))
			longest = max(longest, time.Since(began))
			published++
		}
		select {
		case <-events:
			t.Logf("%d readings published while %d looked; the longest took %v", published, p.Clients(), longest)
			// Encoding eight lines is what it may have to wait for, and a
			// processor that others use too.
			require.Less(t, longest, 200*time.Millisecond)
			return
		case <-ctx.Done():
			t.Fatal("the client that reads was not served")
		case <-time.After(30 * time.Millisecond):
		}
	}
}

// Truth: the rules of Listen's comment.
func TestListen(t *testing.T) {
	for _, address := range []string{"", "loopback", "127.0.0.1", "127.0.0.1:0", "localhost:0"} {
		l, err := Listen(address)
		require.NoError(t, err, address)
		require.True(t, l.Addr().(*net.TCPAddr).IP.IsLoopback(), address)
		l.Close()
	}
	for _, address := range []string{"roof", "roof:8080", "1.2.3", "127.0.0.1:99999999"} {
		_, err := Listen(address)
		require.Error(t, err, address)
	}
}

// Truth: QR codes' own geometry: all rows have one width, and the finder
// patterns' rings are dark at three corners.
func TestCode(t *testing.T) {
	rows, err := Code("http://192.168.100.100:8080/abcdefghijklmnopqrstuv/", false, false)
	require.NoError(t, err)
	require.Less(t, len(rows), 44)
	for _, r := range rows {
		require.Len(t, r, 2*len(rows))
	}
	n := len(rows)
	dark := func(x, y int) bool { return rows[y][2*x] == ' ' }
	for _, at := range [][2]int{{4, 4}, {n - 11, 4}, {4, n - 11}} {
		for k := range 7 {
			require.True(t, dark(at[0]+k, at[1]) && dark(at[0], at[1]+k))
		}
		require.False(t, dark(at[0]+1, at[1]+1))
		require.True(t, dark(at[0]+3, at[1]+3))
	}
	half, err := Code("http://192.168.100.100:8080/abcdefghijklmnopqrstuv/", true, false)
	require.NoError(t, err)
	require.LessOrEqual(t, len(half), 24, "it fits a common terminal")
}
