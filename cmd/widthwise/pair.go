package main

import "iter"

// pair is what a flag writes as NAME:TEXT. Names may hold colons of their own.
type pair string

// cuts yields the name and the text at each colon, the longest name first.
func (p pair) cuts() iter.Seq2[string, string] {
	return func(yield func(string, string) bool) {
		for i := len(p) - 2; i > 0; i-- {
			if p[i] == ':' && !yield(string(p[:i]), string(p[i+1:])) {
				return
			}
		}
	}
}

// first cuts at the first colon.
func (p pair) first() (name, text string) {
	for name, text = range p.cuts() {
	}
	return name, text
}

// label labels the channel that p names, if it is one of these.
func (p pair) label(names, labels map[string]string) bool {
	for name, text := range p.cuts() {
		if own, ok := names[name]; ok {
			labels[own] = text
			return true
		}
	}
	return false
}

// match is the two channels that p names by their own names, whatever it calls
// them by; as written where there is none.
func (p pair) match(before, after map[string]string) [2]string {
	for b, a := range p.cuts() {
		b, isBefore := before[b]
		a, isAfter := after[a]
		if isBefore && isAfter {
			return [2]string{b, a}
		}
	}
	b, a := p.first()
	return [2]string{b, a}
}
