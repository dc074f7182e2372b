package tuner

// BiasTee is what a Tuner has besides when it can put a direct voltage on its
// antenna socket, to feed an amplifier at the antenna.
type BiasTee interface {
	SetBiasTee(on bool) error
}
