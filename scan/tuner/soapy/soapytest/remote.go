package soapytest

import (
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"sync"
	"testing"
	"time"
)

// Remote is SoapySDR's own server, a process that hands radios on over a network.
type Remote struct {
	command *exec.Cmd
	port    int
	once    sync.Once
}

const remoteServer = "SoapySDRServer"

// MissingRemote says what this machine lacks for StartRemote; empty when it lacks
// nothing.
func MissingRemote() string {
	if missing := Missing(); missing != "" {
		return missing
	}
	if _, err := exec.LookPath(remoteServer); err != nil {
		return "no SoapySDRServer (Debian's soapyremote-server)"
	}
	if found, _ := filepath.Glob("/usr/lib/*/SoapySDR/modules*/libremoteSupport.so"); len(found) == 0 {
		return "no module for SoapySDRServer (Debian's soapysdr-module-remote)"
	}
	return ""
}

// StartRemote starts SoapySDR's server on this machine, with the module in it and a
// radio behind that. It skips the test where there is none.
func StartRemote(t testing.TB, radio *Server) *Remote {
	t.Helper()
	if missing := MissingRemote(); missing != "" {
		t.Skip(missing)
	}
	port, err := freePort()
	if err != nil {
		t.Fatal(err)
	}
	r := &Remote{command: exec.Command(remoteServer, fmt.Sprintf("--bind=127.0.0.1:%d", port)), port: port}
	r.command.Env = append(os.Environ(), ModuleEnv+"="+filepath.Dir(Module(t)), fmt.Sprintf("%s=%d", PortEnv, radio.Port()),
		"LD_PRELOAD="+library(t, "quiet.so", quietLibrary))
	if err := r.command.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(r.Kill)
	const patience = time.Minute // on a busy computer
	for began := time.Now(); ; time.Sleep(20 * time.Millisecond) {
		conn, err := net.Dial("tcp", fmt.Sprintf("127.0.0.1:%d", port))
		if err == nil {
			conn.Close()
			return r
		}
		if time.Since(began) > patience {
			t.Fatalf("SoapySDRServer does not serve: %v", err)
		}
	}
}

// Address is the radio's address for the program.
func (r *Remote) Address() string {
	return "driver=remote,remote=tcp://127.0.0.1:" + strconv.Itoa(r.port) + ",remote:driver=town"
}

// Kill ends the server, as a power cut does.
func (r *Remote) Kill() {
	r.once.Do(func() {
		r.command.Process.Kill()
		r.command.Wait()
	})
}

// freePort returns a port that was free a moment ago.
func freePort() (int, error) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return 0, err
	}
	defer l.Close()
	return l.Addr().(*net.TCPAddr).Port, nil
}
