package main

import (
	"context"
	"fmt"
	"strings"
	"text/tabwriter"

	"github.com/spf13/pflag"

	"rooftone/scan/tuner/sim"
	"rooftone/scan/tuner/soapy"
	"rooftone/scan/tuner/usb"
)

func devicesCommand() command {
	return command{
		name:  "devices",
		short: "the radios that are plugged in, and the simulated towns",
		about: `Lists what --from can be told on this computer, a line each: the USB dongles
that are plugged in, the radios that SoapySDR finds where that is installed, and
the built-in simulated towns. A radio at another machine (tcp://HOST:PORT) and
recordings, one or several, work besides; they are not looked for.`,
		examples: `rooftone devices
rooftone sweep --from usb:00000001      one of several dongles
rooftone sweep --from soapy:driver=lime one of many other radios`,
		flags: func(*pflag.FlagSet) func(context.Context, *console, []string) error {
			return func(ctx context.Context, c *console, args []string) error {
				if len(args) > 0 {
					return usagef("devices takes no arguments, but was given %s", quote(args[0])).hint("rooftone devices")
				}
				return devices(ctx, c)
			}
		},
	}
}

func devices(ctx context.Context, c *console) error {
	radios, problem := usb.List(usb.Options{Library: c.env(usb.LibraryEnv)})
	others, othersProblem := soapy.List(ctx, soapy.Options{Library: c.env(soapy.LibraryEnv)})
	table := tabwriter.NewWriter(c.stdout, 0, 8, 2, ' ', 0)
	for _, d := range radios {
		fmt.Fprintf(table, "%s\t%s\n", usbWord(d, radios), oneLine(describeUSB(d)))
	}
	for _, d := range others {
		fmt.Fprintf(table, "soapy:%s\t%s\n", oneLine(d.Address), oneLine(d.Label))
	}
	for _, name := range sim.Names() {
		town, err := sim.Load(name)
		if err != nil {
			return err
		}
		about, _, _ := strings.Cut(strings.Join(strings.Fields(town.About), " "), ". ")
		fmt.Fprintf(table, "sim:%s\t%s\n", name, oneLine(about))
	}
	if err := table.Flush(); err != nil {
		return fmt.Errorf("writing the results: %w", cause(err))
	}
	switch {
	case problem != nil:
		c.note("USB radios could not be looked for: %v", problem)
		c.hint(hintOf(problem))
	case len(radios) == 0:
		c.note("no USB radio is plugged in")
	}
	if othersProblem != nil {
		c.note("radios other than dongles could not be looked for: %v", othersProblem)
		c.hint(hintOf(othersProblem))
	}
	for _, d := range radios {
		if d.Problem != nil {
			c.note("%v", d.Problem)
			c.hint(hintOf(d.Problem))
		}
	}
	return nil
}

// usbWord is the source word for a radio: with its serial number where that
// tells it from the others.
func usbWord(d usb.Device, all []usb.Device) string {
	same := 0
	for _, other := range all {
		if other.Serial == d.Serial {
			same++
		}
	}
	if d.Serial == "" || same > 1 {
		return "usb"
	}
	return "usb:" + oneLine(d.Serial)
}

func describeUSB(d usb.Device) string {
	parts := []string{}
	for _, s := range []string{d.Manufacturer, d.Product} {
		if s != "" {
			parts = append(parts, s)
		}
	}
	if d.Name != "" {
		parts = append(parts, "("+d.Name+")")
	}
	return strings.Join(parts, " ")
}
