package decode

import "math"

const maxEvents = 1000 // of one kind and channel that are kept one by one

// events is a capped list; all counts what is not listed too. What goes beyond
// its length is joined into its last member.
type events struct {
	list []Event
	all  int64
}

func (l *events) add(e Event) {
	l.all += e.Count
	if len(l.list) < maxEvents {
		l.list = append(l.list, e)
		return
	}
	last := &l.list[maxEvents-1]
	last.join(e, math.Abs(e.Measured) > math.Abs(last.Measured))
}

// precede puts an event before all others.
func (l *events) precede(e Event) {
	l.list = append([]Event{e}, l.list...)
	l.all += e.Count
}

// singly returns those that are kept one by one.
func (l *events) singly() []Event { return l.list[:min(len(l.list), maxEvents-1)] }

// join takes another event into this one, with its size if that is the worse.
func (e *Event) join(o Event, worse bool) {
	e.End = max(e.End, o.End)
	e.Count += o.Count
	if worse {
		e.Measured, e.Expected = o.Measured, o.Expected
	}
}
