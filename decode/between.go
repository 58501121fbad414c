package decode

// Between is the part of s from an instant until before another; nil is the
// capture's own start or end. It begins with the levels that hold there. The
// whole of s is read, since the time base of a capture is that of all of it.
func Between(s Source, from, to *Time) Source {
	return &part{Source: s, from: from, to: to, levels: make([]Level, len(s.Channels()))}
}

type part struct {
	Source
	from, to *Time
	levels   []Level // before the part begins
	begun    bool
	out      Block
}

// Want asks for every edge: what is only counted cannot be cut.
func (p *part) Want(channel int, n Need) {
	if n == CountsWhenBusy {
		n = Edges
	}
	p.Source.Want(channel, n)
}

func (p *part) Next() (*Block, error) {
	for {
		b, err := p.Source.Next()
		if err != nil {
			return nil, err
		}
		if p.from != nil && *p.from <= b.Facts.Start {
			p.from = nil
		}
		if p.from != nil && b.Until < *p.from {
			p.remember(b)
			continue
		}
		if p.to != nil && p.begun && p.out.Until >= *p.to {
			continue // to the end, which nobody asked for
		}
		p.cut(b)
		return &p.out, nil
	}
}

// remember keeps the levels of a block that lies before the part.
func (p *part) remember(b *Block) {
	for _, r := range b.Runs {
		p.before(&r)
	}
}

// before takes what lies before the part, or where it begins, off a run and
// keeps the level that the channel has then.
func (p *part) before(r *Run) {
	for len(r.At) > 0 && p.from != nil && r.At[0] <= *p.from {
		p.levels[r.Channel] = r.First
		if r.First == Unknown {
			r.At = nil
			return
		}
		r.First, r.At = r.First.Other(), r.At[1:]
	}
}

// cut makes a block of what of b lies in the part.
func (p *part) cut(b *Block) {
	p.out = Block{Facts: b.Facts, Until: b.Until, Runs: p.out.Runs[:0]}
	if p.from != nil {
		p.out.Facts.Start = *p.from
	}
	if !p.begun && p.from != nil {
		p.open(b)
	}
	p.begun = true
	for _, r := range b.Runs {
		p.before(&r)
		p.after(&r)
		if len(r.At) > 0 {
			p.out.Runs = append(p.out.Runs, r)
		}
	}
	if p.to != nil {
		p.out.Until = max(min(p.out.Until, *p.to), p.out.Facts.Start)
	}
}

// open states the level that each channel has where the part begins.
func (p *part) open(b *Block) {
	p.remember(b)
	for channel, level := range p.levels {
		p.out.Runs = append(p.out.Runs, Run{channel, level, []Time{*p.from}})
	}
}

// after takes what lies at the end of the part or later off a run.
func (p *part) after(r *Run) {
	for n, at := range r.At {
		if p.to != nil && at >= *p.to {
			r.At = r.At[:n]
			return
		}
	}
}

// Origin is that of the whole but for its start and end.
func (p *part) Origin() Origin {
	o := p.Source.Origin()
	if p.from != nil {
		o.Start = max(o.Start, *p.from)
	}
	if p.to != nil {
		o.End = min(o.End, *p.to)
	}
	o.End = max(o.End, o.Start)
	return o
}
