package recording_test

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"rooftone/scan/recording"
	"rooftone/scan/tuner"
)

// A visit to two frequencies is one recording, and plays back as two stays.
func Example() {
	ctx := context.Background()
	folder, err := os.MkdirTemp("", "")
	if err != nil {
		fmt.Println(err)
		return
	}
	defer os.RemoveAll(folder)

	bearing, height := 143.0, 9.0
	w, err := recording.Create(filepath.Join(folder, "roof"), recording.Meta{
		Datatype: "cu8",
		Antenna:  &recording.Antenna{Model: "Long 4", BearingDeg: &bearing, HeightM: &height},
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	defer w.Abort() // does nothing once Close has been
	for _, hz := range []float64{471e6, 473e6} {
		err = errors.Join(err, w.WriteBlock(tuner.Block{
			Samples:  make([]complex64, 144_000),
			CenterHz: hz,
			RateHz:   2.4e6,
			GainDB:   20.7,
			Start:    time.Date(2026, 3, 5, 18, 0, 0, 0, time.UTC),
		}))
	}
	if err := errors.Join(err, w.Close()); err != nil {
		fmt.Println(err)
		return
	}

	r, err := recording.Open(ctx, filepath.Join(folder, "roof"), recording.Hints{})
	if err != nil {
		fmt.Println(err)
		return
	}
	defer r.Close()
	dst := make([]complex64, 100_000)
	for {
		stay, err := r.Next(ctx)
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			fmt.Println(err)
			return
		}
		samples := 0
		for {
			b, err := r.Read(ctx, dst)
			samples += len(b.Samples)
			if err != nil {
				break // io.EOF at the stay's end
			}
		}
		fmt.Printf("%.0f MHz, %.1f dB: %d samples\n", stay.CenterHz/1e6, stay.GainDB, samples)
	}
	// Output:
	// 471 MHz, 20.7 dB: 144000 samples
	// 473 MHz, 20.7 dB: 144000 samples
}

// What a file does not tell is asked for by name.
func ExampleOpen_hints() {
	folder, err := os.MkdirTemp("", "")
	if err != nil {
		fmt.Println(err)
		return
	}
	defer os.RemoveAll(folder)
	path := filepath.Join(folder, "roof.bin")
	if err := os.WriteFile(path, make([]byte, 4800), 0o600); err != nil {
		fmt.Println(err)
		return
	}

	_, err = recording.Open(context.Background(), path, recording.Hints{Format: "cu8"})
	var missing *recording.MissingError
	fmt.Println(errors.As(err, &missing), missing.Wants)

	r, err := recording.Open(context.Background(), path, recording.Hints{Format: "cu8", RateHz: 2.4e6, CenterHz: 473e6})
	if err != nil {
		fmt.Println(err)
		return
	}
	defer r.Close()
	fmt.Println(r.Spans()[0].Samples, "samples of", r.Info().Datatype)
	// Output:
	// true [rate center]
	// 2400 samples of cu8
}
