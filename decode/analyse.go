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
	rhythm    rhythm
	frames    *frames
	lateStart bool
	stream    bool  // frames of a pulse-position stream
	slot      bool  // one of its slots
	markers   int64 // of the stream
	widthState
}

// widthState is what the widths of a train show.
type widthState struct {
	usual     [2]Time // widths that say something about rests
	scale     float64 // noise of the width, picoseconds
	noises    []noise // of it, by stretch; while it is analysed
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
		a.Channels = append(a.Channels, r.identify(a, w, chosen[i].pulser))
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
		c.beats, c.noises = nil, nil
	})
	a.findHolds()
	a.Notes = append(a.Notes, a.limitations()...)
	return a
}

// each does work on every train, as many side by side as there are cores: none
// looks at another, so that cores change nothing but the memory in use.
func (a *Analysis) each(work func(*channel)) {
	var all sync.WaitGroup
	cores := make(chan struct{}, runtime.GOMAXPROCS(0))
	begin := func(c *channel) {
		cores <- struct{}{}
		all.Go(func() {
			work(c)
			<-cores
		})
	}
	for _, c := range a.measured() {
		begin(c)
	}
	for _, ca := range a.Channels {
		if ca.asked != nil {
			begin(ca.asked)
		}
	}
	all.Wait()
}

// timeFrames finds each channel's rhythm, which channels follow one another,
// and walks their frames. A channel that follows another is timed once what
// moves it is known.
func (a *Analysis) timeFrames() {
	a.each(func(c *channel) {
		c.beats = c.pulses.beats()
		c.rhythm = findRhythm(c.beats, c.Stated.Period, Time(c.step))
	})
	a.receivers()
	servos := a.servos()
	a.each(func(c *channel) {
		if c.leader != nil {
			c.rhythm = findRhythm(c.beats, c.Stated.Period, Time(c.step))
		}
		if c.timedByWidths(servos) {
			c.rhythm.pattern = WidthTimed
			c.rhythm.paces = []pace{{period: c.rhythm.period, to: c.beats.n}}
		}
		c.frames = c.follow(oddPercent)
	})
	ownLateFrames(servos)
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
		mayMove: !c.stream && !c.slot && c.leader == nil, noise: noiseOf(c.beats.head())}
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
			out = append(out, Remarkf(LossTimeShort, c.Name, "%s: a loss time of %s s is hardly longer than its frames of %s s; %s s is used", c.Name,
				stated.Seconds(3), c.frames.rhythm.period.Seconds(3), c.frames.lossAfter.Seconds(3)))
		}
		if c.narrow && c.frames.rhythm.period < shortestPeriod {
			out = append(out, Remarkf(MotorOrServo, c.Name, "%s: narrow servo pulses at %.0f Hz cannot be told from a motor drive at that rate", c.Name, float64(Second)/float64(c.frames.rhythm.period)))
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

// servos lists the servo channels.
func (a *Analysis) servos() []*channel {
	return slices.DeleteFunc(a.measured(), func(c *channel) bool { return c.stream || c.slot })
}
