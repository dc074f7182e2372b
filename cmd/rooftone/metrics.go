package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"net"
	"net/http"
	"strconv"
	"strings"
	"time"

	"rooftone/scan/meter"
	"rooftone/scan/watch"
)

// openMetrics is the content type of the OpenMetrics text format, 1.0.
const openMetrics = "application/openmetrics-text; version=1.0.0; charset=utf-8"

// serveMetrics serves a watch's figures until it is stopped.
func serveMetrics(c *console, address string, status *watch.Status) (stop func(), err error) {
	l, err := listenMetrics(address)
	if err != nil {
		return nil, err
	}
	mux := http.NewServeMux()
	mux.HandleFunc("GET /metrics", func(w http.ResponseWriter, _ *http.Request) {
		var b bytes.Buffer
		writeMetrics(&b, status.Snapshot())
		w.Header().Set("Content-Type", openMetrics)
		w.Write(b.Bytes())
	})
	const slow = 10 * time.Second
	s := &http.Server{Handler: mux, ReadHeaderTimeout: slow, ReadTimeout: slow, WriteTimeout: slow, IdleTimeout: time.Minute, MaxHeaderBytes: 16 << 10}
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		if err := s.Serve(l); !errors.Is(err, http.ErrServerClosed) {
			c.note("the metrics are not served any more: %v", err)
		}
	}()
	c.note("the metrics are at http://%s/metrics", l.Addr())
	return func() {
		ctx, cancel := context.WithTimeout(context.Background(), time.Second)
		defer cancel()
		if s.Shutdown(ctx) != nil {
			s.Close()
		}
		<-ended
	}, nil
}

// listenMetrics listens at PORT on this machine alone, or at IP:PORT.
func listenMetrics(address string) (net.Listener, error) {
	const hint = "--metrics 9410 for this machine alone, --metrics 0.0.0.0:9410 for its networks"
	if _, err := strconv.ParseUint(address, 10, 16); err == nil {
		address = net.JoinHostPort("127.0.0.1", address)
	}
	host, port, err := net.SplitHostPort(address)
	if err == nil {
		_, err = strconv.ParseUint(port, 10, 16)
	}
	if err != nil || !strings.EqualFold(host, "localhost") && net.ParseIP(host) == nil {
		return nil, usagef("--metrics: %s is neither PORT nor IP:PORT", quote(address)).hint(hint)
	}
	l, err := net.Listen("tcp", address)
	if err != nil {
		var op *net.OpError
		if errors.As(err, &op) {
			err = op.Err
		}
		return nil, withHint(fmt.Errorf("serving metrics at %s: %w", address, err), "choose another port")
	}
	return l, nil
}

// exposition writes metric families by the rules of OpenMetrics 1.0.
type exposition struct{ w io.Writer }

// family begins one. The unit is its name's last word, or "".
func (e exposition) family(name, kind, unit, help string) {
	if unit != "" {
		name += "_" + unit
	}
	fmt.Fprintf(e.w, "# TYPE %s %s\n", name, kind)
	if unit != "" {
		fmt.Fprintf(e.w, "# UNIT %s %s\n", name, unit)
	}
	fmt.Fprintf(e.w, "# HELP %s %s\n", name, escaped(help))
}

// sample writes one value; labels come as name, value, name, value.
func (e exposition) sample(name string, value float64, labels ...string) {
	io.WriteString(e.w, name)
	for i := 0; i+1 < len(labels); i += 2 {
		open := ","
		if i == 0 {
			open = "{"
		}
		fmt.Fprintf(e.w, `%s%s="%s"`, open, labels[i], escaped(labels[i+1]))
	}
	if len(labels) > 0 {
		io.WriteString(e.w, "}")
	}
	fmt.Fprintf(e.w, " %s\n", strconv.FormatFloat(value, 'g', -1, 64))
}

func (e exposition) end() { io.WriteString(e.w, "# EOF\n") }

func escaped(s string) string {
	return strings.NewReplacer(`\`, `\\`, "\n", `\n`, `"`, `\"`).Replace(strings.ToValidUTF8(s, "\ufffd"))
}

// channelFamily is a family with a value for each channel, or none where it was
// not measured: absent is never zero.
type channelFamily struct {
	name, kind, unit, help string
	value                  func(c *watch.ChannelStatus) (float64, bool)
	live                   bool // gone while the radio is away
}

func channelFamilies() []channelFamily {
	count := func(n int) (float64, bool) { return float64(n), true }
	return []channelFamily{
		{"rooftone_margin", "gauge", "decibels", "What an ideal equaliser has in hand above the decode threshold.",
			func(c *watch.ChannelStatus) (float64, bool) {
				return estimateOf(c.Latest.Margin != nil, func() float64 { return c.Latest.Margin.Value })
			}, true},
		{"rooftone_margin_uncertainty", "gauge", "decibels", "Standard uncertainty of the margin's level.",
			func(c *watch.ChannelStatus) (float64, bool) {
				return estimateOf(c.Latest.Margin != nil, func() float64 { return c.Latest.Margin.Sigma })
			}, true},
		{"rooftone_carrier_to_noise", "gauge", "decibels", "Signal with its pilot over noise in 6 MHz.",
			func(c *watch.ChannelStatus) (float64, bool) {
				return estimateOf(c.Latest.CN != nil, func() float64 { return c.Latest.CN.Value })
			}, true},
		{"rooftone_modulation_error_ratio", "gauge", "decibels", "Data power over error power from the field-sync training.",
			func(c *watch.ChannelStatus) (float64, bool) {
				return estimateOf(c.Latest.MER != nil, func() float64 { return c.Latest.MER.Value })
			}, true},
		{"rooftone_gain", "gauge", "decibels", "Gain of the tuner on the channel.",
			func(c *watch.ChannelStatus) (float64, bool) {
				return estimateOf(c.Latest.GainDB != nil, func() float64 { return *c.Latest.GainDB })
			}, true},
		{"rooftone_clipped", "gauge", "ratio", "Share of the samples on the converter's rails.",
			func(c *watch.ChannelStatus) (float64, bool) { return c.Latest.Clipped, true }, true},
		{"rooftone_heard", "gauge", "", "1 when power or pilot of a signal stands out of the noise, 0 when not.",
			func(c *watch.ChannelStatus) (float64, bool) {
				if c.Latest.State == meter.Measuring {
					return 1, true
				}
				return 0, true
			}, true},
		{"rooftone_reading_timestamp", "gauge", "seconds", "When the latest reading was taken, since 1970.",
			func(c *watch.ChannelStatus) (float64, bool) { return float64(c.Time.UnixMilli()) / 1e3, true }, false},
		{"rooftone_readings", "counter", "", "Readings taken.",
			func(c *watch.ChannelStatus) (float64, bool) { return count(c.Readings) }, false},
		{"rooftone_below_threshold", "counter", "seconds", "Time in which the margin was below 0 dB.",
			func(c *watch.ChannelStatus) (float64, bool) { return c.Below, true }, false},
		{"rooftone_fades", "counter", "", "Fades that ended: 3 dB and more below what is usual.",
			func(c *watch.ChannelStatus) (float64, bool) { return count(c.Fades) }, false},
		{"rooftone_overload_readings", "counter", "", "Readings with too many samples on the converter's rails.",
			func(c *watch.ChannelStatus) (float64, bool) { return count(c.Overload) }, false},
		{"rooftone_impulse_readings", "counter", "", "Readings with noise in short pulses.",
			func(c *watch.ChannelStatus) (float64, bool) { return count(c.Impulse) }, false},
		{"rooftone_lost_samples_readings", "counter", "", "Readings before which samples went missing.",
			func(c *watch.ChannelStatus) (float64, bool) { return count(c.Lost) }, false},
	}
}

func estimateOf(there bool, value func() float64) (float64, bool) {
	if !there {
		return 0, false
	}
	v := value()
	return v, !math.IsNaN(v) && !math.IsInf(v, 0)
}

// writeMetrics writes how a watch goes.
func writeMetrics(w io.Writer, now watch.Snapshot) {
	e := exposition{w}
	e.family("rooftone_build", "info", "", "The program.")
	e.sample("rooftone_build_info", 1, "version", version())
	up := 0.0
	if now.Up {
		up = 1
	}
	e.family("rooftone_radio_up", "gauge", "", "1 while the radio answers.")
	if now.Source != "" {
		e.sample("rooftone_radio_up", up, "source", now.Source)
	} else {
		e.sample("rooftone_radio_up", up)
	}
	e.family("rooftone_radio_losses", "counter", "", "How often the radio went away.")
	e.sample("rooftone_radio_losses_total", float64(now.Losses))
	if now.ClockPPM != nil {
		e.family("rooftone_clock_error", "gauge", "ratio", "Error of the radio's clock; above 0 when it runs fast.")
		e.sample("rooftone_clock_error_ratio", *now.ClockPPM*1e-6)
	}
	for _, f := range channelFamilies() {
		e.family(f.name, f.kind, f.unit, f.help)
		name := f.name
		if f.unit != "" {
			name += "_" + f.unit
		}
		if f.kind == "counter" {
			name += "_total"
		}
		for i := range now.Channels {
			c := &now.Channels[i]
			if v, ok := f.value(c); ok && (now.Up || !f.live) {
				e.sample(name, v, "rf_channel", strconv.Itoa(c.RFChannel))
			}
		}
	}
	e.family("rooftone_log_kept_readings", "counter", "", "Readings of this run that are on the disk.")
	e.sample("rooftone_log_kept_readings_total", float64(now.Kept))
	e.family("rooftone_log_size", "gauge", "bytes", "Size of the log.")
	e.sample("rooftone_log_size_bytes", float64(now.LogBytes))
	trouble := 0.0
	if now.LogTrouble {
		trouble = 1
	}
	e.family("rooftone_log_trouble", "gauge", "", "1 while the log cannot be written.")
	e.sample("rooftone_log_trouble", trouble)
	e.end()
}
