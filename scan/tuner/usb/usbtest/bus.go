// Package usbtest is, for tests, a USB bus with simulated dongles on it, under the
// real librtlsdr.
//
// It builds a shared library that stands in for libusb-1.0 (testdata/libusb.c says
// what it can do) and serves the devices behind it. What uses libusb, such as
// Debian's unmodified librtlsdr and rtl_tcp, then finds these: each an RTL2832U with
// an R820T, down to the registers, whose samples are those of an Air at the frequency,
// rate, gain and filter that were really programmed.
//
//	bus := usbtest.Start(t)
//	dongle := bus.Plug(t, usbtest.Dongle{Serial: "SIM1", Air: usbtest.Town(t, town)})
//	cmd.Env = append(os.Environ(), bus.Env()...) // for another process
//	bus.Load(t)                                  // for this one
//
// # Time
//
// A dongle's time is the samples it makes. They come at their rate at the most,
// slower where the computer is busy, and none is lost but on purpose. Each control
// transfer takes controlTime of that time, so that commands and samples keep their
// order whatever the processes do.
//
// # What is not emulated
//
// Other tuners than the R820T, the analogue stages' noise and distortion (those are
// the Air's), the infrared block, isochronous transfers, hot-plug callbacks.
package usbtest

import (
	"embed"
	"errors"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"testing"

	"github.com/ebitengine/purego"
)

//go:embed testdata
var source embed.FS

// socketEnv is where the library looks for the bus.
const socketEnv = "ROOFTONE_USB_BUS"

// Bus is a bus that dongles can be plugged into.
type Bus struct {
	dir      string
	listener net.Listener
	wg       sync.WaitGroup

	mu      sync.Mutex
	conns   map[net.Conn]bool
	plugged []*Device
	plugs   uint32 // how often one was plugged in
	handles uint32
	open    map[uint32]*handle
	closed  bool
}

// Start returns an empty bus. It ends with the test, which is skipped where there
// is no C compiler.
func Start(t testing.TB) *Bus {
	t.Helper()
	if compiler() == "" {
		t.Skip("no C compiler (gcc, cc or clang) to build the stand-in libusb with")
	}
	lib, err := compiled()
	if err != nil {
		t.Fatal(err)
	}
	// A socket's path must be short, which a test's own folder need not be.
	dir, err := os.MkdirTemp("", "usbtest")
	if err != nil {
		t.Fatal(err)
	}
	b := &Bus{dir: dir, conns: make(map[net.Conn]bool), open: make(map[uint32]*handle)}
	t.Cleanup(b.stop)
	if err := os.WriteFile(b.library(), lib, 0o755); err != nil {
		t.Fatal(err)
	}
	if b.listener, err = net.Listen("unix", b.socket()); err != nil {
		t.Fatal(err)
	}
	b.wg.Go(b.accept)
	return b
}

func (b *Bus) library() string { return filepath.Join(b.dir, "libusb-1.0.so.0") }
func (b *Bus) socket() string  { return filepath.Join(b.dir, "bus") }

// Env returns the environment variables that put a process on the bus: the folder
// of the stand-in library, before those that the linker looks into anyway, and
// where the bus is.
func (b *Bus) Env() []string {
	path := b.dir
	if old := os.Getenv("LD_LIBRARY_PATH"); old != "" {
		path += ":" + old
	}
	return []string{"LD_LIBRARY_PATH=" + path, socketEnv + "=" + b.socket()}
}

// Load puts this process on the bus. It must come before anything else loads
// libusb, whose name the linker then takes for known; the library stays loaded, and
// a later bus takes the place of an earlier one.
func (b *Bus) Load(t testing.TB) {
	t.Helper()
	at, err := loaded(b.library())
	if err != nil {
		t.Fatal(err)
	}
	at(b.socket())
}

// loaded loads the library once a process and returns its usbbus_at.
func loaded(path string) (at func(string), err error) {
	loading.Lock()
	defer loading.Unlock()
	if loading.at != nil {
		return loading.at, nil
	}
	handle, err := open(path)
	if err != nil {
		return nil, fmt.Errorf("loading the stand-in libusb: %w", err)
	}
	purego.RegisterLibFunc(&at, handle, "usbbus_at")
	loading.at = at
	return at, nil
}

// loading is the process's one stand-in: a library cannot be loaded twice.
var loading struct {
	sync.Mutex
	at func(string)
}

func (b *Bus) stop() {
	b.mu.Lock()
	b.closed = true
	devices := b.plugged
	b.mu.Unlock()
	for _, d := range devices {
		b.Unplug(d)
	}
	if b.listener != nil {
		b.listener.Close()
	}
	b.mu.Lock()
	for c := range b.conns {
		c.Close()
	}
	b.mu.Unlock()
	b.wg.Wait()
	os.RemoveAll(b.dir)
}

// Plug plugs a dongle in. Each time one gets the next address on the bus.
func (b *Bus) Plug(t testing.TB, dongle Dongle) *Device {
	t.Helper()
	d, err := newDevice(dongle)
	if err != nil {
		t.Fatal(err)
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	b.plugs++
	d.bus, d.plug = b, b.plugs
	b.plugged = append(b.plugged, d)
	return d
}

// Unplug takes a dongle out. What was open is dead for good.
func (b *Bus) Unplug(d *Device) {
	b.mu.Lock()
	for i, p := range b.plugged {
		if p == d {
			b.plugged = append(b.plugged[:i:i], b.plugged[i+1:]...)
			break
		}
	}
	b.mu.Unlock()
	d.leave()
}

// Replug unplugs a dongle and plugs it in again: with its settings lost, and at
// another address.
func (b *Bus) Replug(t testing.TB, d *Device) *Device {
	t.Helper()
	b.Unplug(d)
	return b.Plug(t, d.Dongle)
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
	dir, err := os.MkdirTemp("", "usbtest")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	if err := os.CopyFS(dir, source); err != nil {
		return nil, err
	}
	in, lib := filepath.Join(dir, "testdata"), filepath.Join(dir, "libusb.lib")
	// The name is how the linker knows it again.
	out, err := exec.Command(compiler(), "-shared", "-fPIC", "-O2", "-Wl,-soname,libusb-1.0.so.0", "-o", lib,
		filepath.Join(in, "libusb.c"), filepath.Join(in, "transfers.c"), "-lpthread").CombinedOutput()
	if err != nil {
		return nil, errors.Join(fmt.Errorf("compiling the stand-in libusb: %w", err), errors.New(string(out)))
	}
	return os.ReadFile(lib)
})
