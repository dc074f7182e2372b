// Package standin builds, for tests, a shared library that stands in for
// librtlsdr, over a simulated dongle. Its source, testdata/standin.c, says
// what it can do.
package standin

import (
	_ "embed"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"testing"

	"rooftone/scan/tuner"
)

//go:embed testdata/standin.c
var source []byte

// Sample returns what the stand-in's samples have as I, as a byte, when the
// oscillator has settled at a frequency: to the nearest MHz, since none is met exactly.
func Sample(centerHz float64) byte { return byte(2 + int(centerHz/1e6+0.5)%250) }

// Step is by how much the Q of the stand-in's samples grows from one to the
// next, modulo 256.
const Step = 37

// Check returns what is wrong with samples that a stand-in should have made at
// one frequency, settled and without a gap; "" when nothing is.
func Check(x []complex64, centerHz float64) string {
	if len(x) == 0 {
		return "no samples"
	}
	first := tuner.ToByte(imag(x[0]))
	for n, v := range x {
		i, q := tuner.ToByte(real(v)), tuner.ToByte(imag(v))
		if want := Sample(centerHz); i != want {
			return fmt.Sprintf("sample %d of %d has I = %d, want %d", n, len(x), i, want)
		}
		if want := first + byte(Step*n); q != want {
			return fmt.Sprintf("sample %d of %d has Q = %d, want %d: a gap", n, len(x), q, want)
		}
	}
	return ""
}

// Build compiles the library, once a process, and returns a copy of it, named
// librtlsdr.so.0 and in a folder of its own, that shares no state with others.
// It skips the test where there is no C compiler.
func Build(t testing.TB) string {
	t.Helper()
	cc := compiler()
	if cc == "" {
		t.Skip("no C compiler (gcc, cc or clang) to build the stand-in librtlsdr with")
	}
	lib, err := compiled()
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "librtlsdr.so.0")
	if err := os.WriteFile(path, lib, 0o755); err != nil {
		t.Fatal(err)
	}
	return path
}

func compiler() string {
	for _, name := range []string{"gcc", "cc", "clang"} {
		if path, err := exec.LookPath(name); err == nil {
			return path
		}
	}
	return ""
}

var compiled = sync.OnceValues(func() ([]byte, error) {
	dir, err := os.MkdirTemp("", "standin")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	c, lib := filepath.Join(dir, "standin.c"), filepath.Join(dir, "standin.lib")
	if err := os.WriteFile(c, source, 0o644); err != nil {
		return nil, err
	}
	out, err := exec.Command(compiler(), "-shared", "-fPIC", "-O2", "-o", lib, c, "-lpthread").CombinedOutput()
	if err != nil {
		return nil, fmt.Errorf("compiling the stand-in librtlsdr: %w\n%s", err, out)
	}
	return os.ReadFile(lib)
})
