package main

import (
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"

	"rooftone/scan/tuner/sim"
	"rooftone/scan/tuner/soapy/soapytest"
)

// startSoapy is the script command soapy TOWN [SAMPLES]: until the script ends
// it serves a wide radio that hears a town, where SoapySDR finds it, and sets RADIO to
// the source word for it. After so many samples it is unplugged.
func startSoapy(t *testing.T) func(*testscript.TestScript, bool, []string) {
	return func(ts *testscript.TestScript, _ bool, args []string) {
		s := serveTown(ts, args[0])
		if len(args) > 1 {
			after, err := strconv.ParseInt(args[1], 10, 64)
			ts.Check(err)
			s.Unplug(after, soapytest.Gone)
		}
		ts.Setenv(soapytest.ModuleEnv, filepath.Dir(soapytest.Module(t)))
		ts.Setenv(soapytest.PortEnv, strconv.Itoa(s.Port()))
		ts.Setenv("RADIO", "soapy:driver=town")
	}
}

// startRemote is the script command remote TOWN: until the script ends SoapySDR's own
// server hands a wide radio that hears a town on over the network, and RADIO is the
// source word for it.
func startRemote(t *testing.T) func(*testscript.TestScript, bool, []string) {
	return func(ts *testscript.TestScript, _ bool, args []string) {
		r := soapytest.StartRemote(t, serveTown(ts, args[0]))
		ts.Defer(r.Kill)
		ts.Setenv("RADIO", "soapy:"+r.Address())
	}
}

// serveTown serves a wide radio that hears a town until the script ends.
func serveTown(ts *testscript.TestScript, name string) *soapytest.Server {
	town, err := sim.Load(townFile(ts, name))
	ts.Check(err)
	town.Radio.Wide, town.Radio.Bits = true, 12
	hears, err := sim.New(town, sim.Options{Unsettled: true})
	ts.Check(err)
	f := soapytest.Wide()
	f.Pace = 1
	s, err := soapytest.Serve(soapytest.Town(hears), f)
	ts.Check(err)
	ts.Defer(s.Close)
	return s
}

// townFile is a built-in town's name, or the path of a script's file.
func townFile(ts *testscript.TestScript, name string) string {
	if strings.HasSuffix(name, ".toml") {
		return ts.MkAbs(name)
	}
	return name
}
