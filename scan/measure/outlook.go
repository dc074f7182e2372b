package measure

import (
	"rooftone/dsp/decibel"
	"rooftone/dsp/vsb"
	"rooftone/scan/band"
	"rooftone/scan/listen"
)

// outlook is what the training of a channel's slices promises of the whole of it.
func (m *measurer) outlook(trained []listen.Trained, n *interference) *promise {
	var data, noise, sigma float64
	for _, t := range trained {
		w := t.HighHz - t.LowHz
		data += w * t.DataDensity
		noise += w
		sigma = t.MERSigmaDB
	}
	density := data / noise
	return &promise{
		snr: density / n.mean(), snrSigmaDB: sigma,
		carrier: density / vsb.Density(band.WidthHz/2), carrierRelative: sigma / decibel.PerNeper,
	}
}
