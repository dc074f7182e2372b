// Package soapytest is for tests: a module for SoapySDR, built when it is asked for,
// whose radios are the servers of this package.
package soapytest

import (
	_ "embed"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"rooftone/scan/tuner/internal/sharedlib"
	"sync"
	"testing"

	"github.com/ebitengine/purego"
)

//go:embed testdata/town.cpp
var townSource []byte

//go:embed testdata/quiet.cpp
var quietSource []byte

// ModuleEnv is SoapySDR's environment variable for folders of modules.
const ModuleEnv = "SOAPY_SDR_PLUGIN_PATH"

// PortEnv is the environment variable that tells the module of a server.
const PortEnv = "SOAPYTOWN_PORT"

// Missing says what is missing to build the module and run it; "" when nothing is.
func Missing() string {
	if _, err := exec.LookPath("g++"); err != nil {
		return "no g++ to build SoapySDR's module for tests with"
	}
	if out, err := exec.Command("g++", "-E", "-x", "c++", "-include", "SoapySDR/Device.hpp", os.DevNull).CombinedOutput(); err != nil {
		return fmt.Sprintf("no libsoapysdr-dev to build SoapySDR's module for tests with: %.200s", out)
	}
	return ""
}

// Module compiles the module, once a process, and returns its path, in a folder of
// its own. It skips the test where something is missing.
func Module(t testing.TB) string {
	t.Helper()
	if why := Missing(); why != "" {
		t.Skip(why)
	}
	return library(t, "libtownSupport.so", townModule)
}

// library writes what was compiled to a file in a folder of its own.
func library(t testing.TB, name string, compiled func() ([]byte, error)) string {
	t.Helper()
	lib, err := compiled()
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, lib, 0o755); err != nil {
		t.Fatal(err)
	}
	return path
}

var (
	townModule   = sync.OnceValues(func() ([]byte, error) { return compile(townSource, "-lSoapySDR") })
	quietLibrary = sync.OnceValues(func() ([]byte, error) { return compile(quietSource) })
)

// compile makes a shared library.
func compile(source []byte, libraries ...string) ([]byte, error) {
	dir, err := os.MkdirTemp("", "soapytest")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	c, lib := filepath.Join(dir, "source.cpp"), filepath.Join(dir, "source.so")
	if err := os.WriteFile(c, source, 0o644); err != nil {
		return nil, err
	}
	out, err := exec.Command("g++", append([]string{"-shared", "-fPIC", "-O1", "-o", lib, c}, libraries...)...).CombinedOutput()
	if err != nil {
		return nil, fmt.Errorf("compiling for tests: %w\n%s", err, out)
	}
	return os.ReadFile(lib)
}

// Load loads the module into this process, once, so that radios are found by their
// port. It skips the test where there is none or no SoapySDR.
func Load(t testing.TB) {
	t.Helper()
	path := Module(t)
	if err := load(path); err != nil {
		t.Skipf("SoapySDR takes no module: %v", err)
	}
}

var (
	loading sync.Mutex
	loaded  bool
)

func load(path string) error {
	loading.Lock()
	defer loading.Unlock()
	if loaded {
		return nil
	}
	handle, err := sharedlib.Open("libSoapySDR.so.0.8")
	if err != nil {
		return err
	}
	var (
		loadModule  func(path string) string
		loadModules func()
	)
	for name, fn := range map[string]any{"SoapySDR_loadModule": &loadModule, "SoapySDR_loadModules": &loadModules} {
		sym, err := sharedlib.Symbol(handle, name)
		if err != nil {
			return err
		}
		purego.RegisterFunc(fn, sym)
	}
	// Once one was loaded by hand, the library does not look for the others.
	loadModules()
	if said := loadModule(path); said != "" {
		return errors.New(said)
	}
	loaded = true
	return nil
}
