package main

import (
	"path/filepath"
	"strconv"
	"strings"

	"github.com/rogpeppe/go-internal/testscript"

	"rooftone/scan/tuner/sim"
	"rooftone/scan/tuner/soapy/soapytest"
)

// startSoapy is the script command soapy TOWN [SAMPLES]: until the script ends
// it serves a wide radio that hears a town, where SoapySDR finds it, and sets RADIO to
// the source word for it. After so many samples it is unplugged.
func startSoapy(module func() string) func(*testscript.TestScript, bool, []string) {
	return func(ts *testscript.TestScript, _ bool, args []string) {
		town, err := sim.Load(townFile(ts, args[0]))
		ts.Check(err)
		town.Radio.Wide, town.Radio.Bits = true, 12
		hears, err := sim.New(town, sim.Options{Unsettled: true})
		ts.Check(err)
		f := soapytest.Wide()
		f.Pace = 1
		s, err := soapytest.Serve(soapytest.Town(hears), f)
		ts.Check(err)
		ts.Defer(s.Close)
		if len(args) > 1 {
			after, err := strconv.ParseInt(args[1], 10, 64)
			ts.Check(err)
			s.Unplug(after, soapytest.Gone)
		}
		ts.Setenv(soapytest.ModuleEnv, filepath.Dir(module()))
		ts.Setenv(soapytest.PortEnv, strconv.Itoa(s.Port()))
		ts.Setenv("RADIO", "soapy:driver=town")
	}
}

// townFile is a built-in town's name, or the path of a script's file.
func townFile(ts *testscript.TestScript, name string) string {
	if strings.HasSuffix(name, ".toml") {
		return ts.MkAbs(name)
	}
	return name
}
