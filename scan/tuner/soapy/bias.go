package soapy

import (
	"fmt"
	"os"
	"strings"
	"unsafe"

	"rooftone/scan/tuner"
)

// SetBiasTee switches the voltage on the antenna socket, if the radio's driver has
// a setting for that. Close switches it off.
func (r *radio) SetBiasTee(on bool) error {
	if r.closed {
		return fmt.Errorf("switching the bias tee of %s: %w", r.info.Name, os.ErrClosed)
	}
	key := r.bias
	if key == "" {
		key = r.biasSetting()
	}
	if key == "" {
		if !on {
			return nil
		}
		return &tuner.Problem{
			What: r.info.Name + " has no bias tee that its driver could switch",
			Hint: "leave --bias-tee out",
			Err:  ErrRefused,
		}
	}
	value := "false"
	if on {
		value = "true"
	}
	if err := r.lib.call("switch its bias tee", func() int32 { return r.lib.writeSetting(r.dev, key, value) }); err != nil {
		return r.problem(err)
	}
	if r.bias = key; !on {
		r.bias = ""
	}
	return nil
}

// biasSetting returns the driver's name for its bias tee: each has its own.
func (r *radio) biasSetting() string {
	n := new(uintptr)
	p := r.lib.settings(r.dev, n)
	if p == nil {
		return ""
	}
	defer r.lib.clearInfos(p, *n)
	for _, s := range unsafe.Slice((*argInfo)(p), *n) {
		if key := text(s.key); strings.Contains(strings.ToLower(key), "bias") {
			return key
		}
	}
	return ""
}
