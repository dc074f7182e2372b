package recording

import (
	"encoding/json"
	"math"
	"reflect"
	"strconv"
)

const (
	sigmfVersion  = "1.2.5"
	ourExtension  = "rooftone"
	ourExtVersion = "1.0.0"
)

// An index is a sample index or a count. JSON Schema calls 5.0 an integer, so
// this does too.
type index int64

func (x *index) UnmarshalJSON(b []byte) error {
	if n, err := strconv.ParseInt(string(b), 10, 64); err == nil {
		*x = index(n)
		return nil
	}
	v, err := strconv.ParseFloat(string(b), 64)
	if err != nil || v != math.Trunc(v) || math.Abs(v) > 1<<53 {
		// An error of this type is told with the name of its field.
		return &json.UnmarshalTypeError{Value: "value of " + short(string(b)), Type: reflect.TypeFor[index]()}
	}
	*x = index(v)
	return nil
}

// point is a GeoJSON point, RFC 7946, 3.1.2: longitude, latitude and perhaps
// altitude.
type point struct {
	Type        string    `json:"type"`
	Coordinates []float64 `json:"coordinates"`
}

type extension struct {
	Name     string `json:"name"`
	Version  string `json:"version"`
	Optional bool   `json:"optional"`
}

// globalObject is what we read and write of SigMF's global object. The order
// is the one in the file.
type globalObject struct {
	Datatype      *string     `json:"core:datatype"`
	SampleRate    *float64    `json:"core:sample_rate,omitempty"`
	Version       *string     `json:"core:version,omitempty"`
	SHA512        *string     `json:"core:sha512,omitempty"`
	NumChannels   *index      `json:"core:num_channels,omitempty"`
	Offset        *index      `json:"core:offset,omitempty"`
	Dataset       *string     `json:"core:dataset,omitempty"`
	MetadataOnly  *bool       `json:"core:metadata_only,omitempty"`
	TrailingBytes *index      `json:"core:trailing_bytes,omitempty"`
	Recorder      string      `json:"core:recorder,omitempty"`
	Hardware      string      `json:"core:hw,omitempty"`
	Author        string      `json:"core:author,omitempty"`
	Description   string      `json:"core:description,omitempty"`
	License       string      `json:"core:license,omitempty"`
	Geolocation   *point      `json:"core:geolocation,omitempty"`
	Extensions    []extension `json:"core:extensions,omitempty"`

	AntennaModel     *string  `json:"antenna:model,omitempty"`
	AntennaType      string   `json:"antenna:type,omitempty"`
	AntennaGain      *float64 `json:"antenna:gain,omitempty"`
	AntennaCableLoss *float64 `json:"antenna:cable_loss,omitempty"`
	AntennaHeight    *float64 `json:"antenna:hagl,omitempty"`

	ReferenceHz *float64        `json:"rooftone:reference,omitempty"`
	Radio       json.RawMessage `json:"rooftone:radio,omitempty"`
}

// captureObject is what we read and write of a capture. The capture_details
// extension has a gain, but asks for six more fields beside it.
type captureObject struct {
	SampleStart *index   `json:"core:sample_start"`
	Frequency   *float64 `json:"core:frequency,omitempty"`
	Datetime    *string  `json:"core:datetime,omitempty"`
	HeaderBytes *index   `json:"core:header_bytes,omitempty"`
	GlobalIndex *index   `json:"core:global_index,omitempty"`
	Geolocation *point   `json:"core:geolocation,omitempty"`

	DetailsGain        *float64 `json:"capture_details:gain,omitempty"`
	DetailsScale       *float64 `json:"capture_details:acq_scale_factor,omitempty"`
	DetailsAttenuation *float64 `json:"capture_details:attenuation,omitempty"`
	DetailsBandwidth   *float64 `json:"capture_details:acquisition_bandwidth,omitempty"`
	DetailsStart       *string  `json:"capture_details:start_capture,omitempty"`
	DetailsStop        *string  `json:"capture_details:stop_capture,omitempty"`
	DetailsSource      *string  `json:"capture_details:source_file,omitempty"`

	Gain *float64 `json:"rooftone:gain,omitempty"`
	Lost bool     `json:"rooftone:lost,omitempty"`
}

// annotationObject is what we read and write of an annotation.
type annotationObject struct {
	SampleStart  *index   `json:"core:sample_start"`
	SampleCount  *index   `json:"core:sample_count,omitempty"`
	Generator    string   `json:"core:generator,omitempty"`
	Comment      string   `json:"core:comment,omitempty"`
	Azimuth      *float64 `json:"antenna:azimuth_angle,omitempty"`
	Elevation    *float64 `json:"antenna:elevation_angle,omitempty"`
	Polarization string   `json:"antenna:polarization,omitempty"`
}
