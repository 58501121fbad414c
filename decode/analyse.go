package decode

import (
	"math"
	"runtime"
	"sync"

	"golang.org/x/exp/slices"
)

// channel is one train under analysis: a servo channel or a slot of a
// pulse-position stream.
type channel struct {
	*ChannelAnalysis
	rec    *Recording
	pulses *train
	pulser *pulser // nil for a slot

	step      float64  // time step in picoseconds, 0 where unknown
	beats     *beats   // while it is analysed
	leader    *channel // whose pulse ends where this one's begins
	led       []Time   // instants of the leader's beats that are not its leading edges, until own ones are made of them
	rhythm    rhythm
	frames    *frames
	lateStart bool
	stream    bool  // frames of a pulse-position stream
	slot      bool  // one of its slots
	byWidths  bool  // of either: frames last as long as the widths in them
	markers   int64 // of the stream
	widthState
}

// widthState is what the widths of a train show.
type widthState struct {
	usual     [2]Time // widths that say something about rests
	scale     float64 // noise of the width, picoseconds
	noises    []noise // of it, by stretch; while it is analysed
	noise     *noiseFinder
	reference Time
	narrow    bool
	spikes    events
	repeats   events
	frozen    events
	halts     []halt
}

// Analyse measures the recording.
func (r *Recording) Analyse() *Analysis {
	a := &Analysis{Start: r.start, End: r.end, Origin: r.origin, Resolution: math.NaN()}
	if r.resolution > 0 {
		a.Resolution = r.resolution / float64(Microsecond)
	}
	a.Notes = append(append(a.Notes, r.origin.Warnings...), r.origin.Notes...)
	chosen := r.polarities(a)
	for i, w := range r.channels {
		a.Channels = append(a.Channels, r.identify(a, w, chosen[i]))
	}
	r.unjudged(a)
	a.timeFrames()
	a.boundCapture()
	a.Notes = append(a.Notes, r.unitHints(a)...)
	rooms := make(chan []reading, runtime.GOMAXPROCS(0)) // one for each channel at work
	a.each(func(c *channel) {
		var room []reading
		select {
		case room = <-rooms:
		default:
		}
		rooms <- c.measure(room)
		c.noises, c.noise = nil, nil
	})
	a.findHolds()
	a.Notes = append(a.Notes, a.limitations()...)
	return a
}

// each does work on every train, as many side by side as there are cores: none
// looks at another, so that cores change nothing but the memory in use.
func (a *Analysis) each(work func(*channel)) {
	sideBySide(a.trains(), func(*channel) {}, work)
}

// sideBySide does work on trains as each does. Before a train's turn it is prepared,
// one after the other.
func sideBySide(all []*channel, prepare, work func(*channel)) {
	var done sync.WaitGroup
	cores := make(chan struct{}, runtime.GOMAXPROCS(0))
	for _, c := range all {
		cores <- struct{}{}
		prepare(c)
		done.Go(func() {
			work(c)
			<-cores
		})
	}
	done.Wait()
}

// timeFrames finds each channel's rhythm, which channels follow one another,
// and walks their frames. A channel that follows another is timed once what
// moves it is known, after its leader, so that few instants are held at a time.
func (a *Analysis) timeFrames() {
	a.each(func(c *channel) {
		c.beats = c.pulses.beats()
		c.rhythm = findRhythm(c.beats, c.Stated.Period, Time(c.step))
	})
	a.receivers()
	a.timeStreams()
	servos := a.servos()
	all := a.trains()
	slices.SortStableFunc(all, func(x, y *channel) int { return x.leaders() - y.leaders() })
	sideBySide(all, func(c *channel) {
		if c.leader != nil {
			c.beats.own, c.led = c.shifted(c.led), nil
		}
		for _, o := range all {
			if o.leader == c {
				o.led = c.beats.own
			}
		}
	}, func(c *channel) {
		if c.leader != nil {
			c.rhythm = findRhythm(c.beats, c.Stated.Period, Time(c.step))
		}
		if c.timedByWidths(servos) {
			c.rhythm.pattern = WidthTimed
			c.rhythm.paces = []pace{{period: c.rhythm.period, to: c.beats.n}}
		}
		c.frames = c.follow(oddPercent)
		c.frames.median = c.medianInterval()
		c.beats.own = nil
	})
	ownLateFrames(servos)
	for _, c := range all {
		c.beats = nil
	}
}

// follow walks a channel's frames.
func (c *channel) follow(odd float64) *frames {
	y := c.rhythm
	lossAfter := c.Stated.LossAfter
	if lossAfter == 0 {
		lossAfter = max(110*Millisecond, y.period*7/2)
	}
	lossAfter = max(lossAfter, y.period*3/2) // a frame is no loss
	o := walk{train: c.pulses, beats: c.beats, oddPercent: odd,
		mayMove: !c.stream && !c.slot && c.leader == nil, noise: noiseOf(c.beats.head(0, c.beats.n))}
	if c.beats.n > 0 {
		o.startUp = y.startUp(c.beats, c.rec.start)
	}
	return o.along(y, lossAfter, c.rec.batched())
}

// limitations says what this capture cannot tell.
func (a *Analysis) limitations() []Remark {
	var out []Remark
	servos := a.servos()
	if o := a.Origin; o.ChangesOnly && !o.EndStated && len(servos) > 0 {
		out = append(out, Remarkf(EndUnseen, "", "the capture lists changes only and ends at its last one: a loss on all channels at its end cannot be seen"))
	}
	for _, c := range servos {
		if stated := c.Stated.LossAfter; stated > 0 && stated < c.frames.lossAfter {
			out = append(out, Remarkf(LossTimeShort, c.Name, "a loss time of %s s is hardly longer than its frames of %s s; %s s is used",
				stated.Seconds(3), c.frames.rhythm.period.Seconds(3), c.frames.lossAfter.Seconds(3)))
		}
		if c.narrow && c.frames.rhythm.period < shortestPeriod {
			out = append(out, Remarkf(MotorOrServo, c.Name, "narrow servo pulses at %.0f Hz cannot be told from a motor drive at that rate", float64(Second)/float64(c.frames.rhythm.period)))
		}
	}
	return out
}

// measured lists the trains under analysis, slots included.
func (a *Analysis) measured() []*channel {
	var all []*channel
	for _, ca := range a.Channels {
		if ca.channel != nil {
			all = append(all, ca.channel)
		}
		for _, s := range ca.Slots {
			all = append(all, s.channel)
		}
	}
	return all
}

// trains lists those and the pulses of channels that were named and are something
// else.
func (a *Analysis) trains() []*channel {
	all := a.measured()
	for _, ca := range a.Channels {
		if ca.asked != nil {
			all = append(all, ca.asked)
		}
	}
	return all
}

// servos lists the servo channels.
func (a *Analysis) servos() []*channel {
	return slices.DeleteFunc(a.measured(), func(c *channel) bool { return c.stream || c.slot })
}
