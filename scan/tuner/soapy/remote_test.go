package soapy

import (
	"errors"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/scan/tuner"
	"rooftone/scan/tuner/soapy/soapytest"
)

// Truth: as in TestSamplesFollowTheTuning, but through SoapySDR's own server and its
// client: two more queues, and a network between.
func TestRemote(t *testing.T) {
	t.Parallel()
	for _, noTime := range []bool{false, true} {
		f := paced()
		f.Queue, f.NoTime = 0, noTime
		s := serve(t, &soapytest.Ruler{Settle: 4000}, f)
		remote := soapytest.StartRemote(t, s)
		r := openRadio(t, remote.Address(), Options{})
		require.Contains(t, r.Info().Name, "soapy:driver=remote")
		dst := make([]complex64, 30_000)
		for hop := range 3 {
			to := at(470 + 6*float64(hop))
			require.NoError(t, r.Tune(bg, to))
			b, err := r.Read(bg, dst)
			require.NoError(t, err)
			require.Empty(t, soapytest.Check(b.Samples, to.CenterHz))
			require.Equal(t, 30.0, b.GainDB)
		}
		require.NoError(t, r.Close())
		remote.Kill()
	}
}

// Truth: what is promised, where a network or the machine behind it goes away.
func TestRemoteUnplugs(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(11, 4))
	o := Options{
		Timeout: 400 * time.Millisecond, CommandTimeout: 800 * time.Millisecond,
		Backoff: []time.Duration{50 * time.Millisecond},
	}
	draws := 2
	if *unplugs > 20 {
		o, draws = Options{}, *unplugs
	}
	f := paced()
	f.Queue = 0
	for n := range draws {
		s := serve(t, &soapytest.Ruler{}, f)
		remote := soapytest.StartRemote(t, s)
		a, err := ParseAddress(remote.Address())
		require.NoError(t, err)
		rd, err := Open(bg, a, o)
		require.NoError(t, err)
		moment := time.Duration(rng.Int64N(int64(300 * time.Millisecond)))
		if n%2 == 0 {
			time.AfterFunc(moment, remote.Kill)
		} else {
			s.Unplug(1+rng.Int64N(400_000), soapytest.Gone)
		}
		var failed time.Duration
		dst := make([]complex64, 1+rng.IntN(60_000))
		for hop := 0; err == nil; hop++ {
			began := time.Now()
			if err = rd.Tune(bg, at(470+float64(hop%20))); err == nil {
				_, err = rd.Read(bg, dst)
			}
			failed = time.Since(began)
		}
		var p *tuner.Problem
		require.ErrorAs(t, err, &p)
		require.NotContains(t, p.What, "\n")
		require.True(t, errors.Is(err, ErrUnplugged) || errors.Is(err, ErrStalled) || errors.Is(err, ErrRefused), "%v", err)
		began := time.Now()
		closing := rd.Close()
		failed += time.Since(began)
		t.Logf("%v after %.2f s; closing: %v", err, failed.Seconds(), closing)
		require.Less(t, failed, 5*time.Second, "%v", err)
		remote.Kill()
		s.Close()
	}
}
