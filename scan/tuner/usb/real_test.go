package usb

import (
	"path/filepath"
	"runtime"
	"testing"
	"unsafe"

	"github.com/stretchr/testify/require"

	"rooftone/scan/tuner/internal/dongle"
	"rooftone/scan/tuner/internal/problemtest"
)

// real loads the real librtlsdr.
func real(t *testing.T) *library {
	t.Helper()
	if runtime.GOOS == "linux" {
		if found, _ := filepath.Glob("/usr/lib/*/librtlsdr.so.*"); len(found) == 0 {
			t.Skip("Debian's librtlsdr0 or librtlsdr2 is not installed")
		}
	}
	lib, err := load("")
	if err != nil && runtime.GOOS != "linux" {
		t.Skip(err)
	}
	require.NoError(t, err)
	return lib
}

// Truth: the real library. Loading it resolves every symbol.
func TestRealLibraryHasEverySymbol(t *testing.T) {
	lib := real(t)
	require.NotNil(t, lib.setBiasTee)
	for name, fn := range lib.symbols() {
		require.NotNil(t, fn, name)
	}
}

// Truth: the real library, on a computer without a dongle.
func TestRealLibraryWithoutADongle(t *testing.T) {
	lib := real(t)
	if n := lib.deviceCount(); n > 0 {
		t.Skipf("%d dongles are plugged in", n)
	}
	devices, err := List(Options{})
	require.NoError(t, err)
	require.Empty(t, devices)
	for _, serial := range []string{"", "00000001"} {
		_, err = Open(bg, serial, Options{})
		problemtest.Require(t, err, ErrNoDevice)
	}
	// What it returns for a dongle that is not there.
	var handle uintptr
	require.Negative(t, lib.open(&handle, 0))
	require.Zero(t, handle)
	require.Empty(t, lib.deviceName(7))
}

// Truth: a second implementation, the real library's own tables. They are
// asked for with a piece of memory in place of an open dongle: the library
// only reads the tuner's type from it. Where that lies is found by filling the
// memory with its own addresses, so to speak, and asking for the type.
func TestGainsAreTheRealLibrarys(t *testing.T) {
	lib := real(t)
	memory := make([]int32, 4096)
	for i := range memory {
		memory[i] = int32(i)
	}
	dev := uintptr(unsafe.Pointer(&memory[0]))
	var pin runtime.Pinner
	pin.Pin(&memory[0])
	defer pin.Unpin()
	where := lib.tunerType(dev)
	require.True(t, where > 0 && int(where) < len(memory))

	for chip := dongle.ChipUnknown; chip <= dongle.R828D; chip++ {
		memory[where] = int32(chip)
		got := device{lib, dev}.gains()
		require.Equal(t, chip.Gains(), got, "chip %d", chip)
	}
}
