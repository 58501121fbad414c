package grade

import (
	"fmt"
	"path"
	"strconv"
	"strings"

	"golang.org/x/exp/slices"

	"widthwise/decode"
	"widthwise/decode/phrase"
	"widthwise/report"
)

// HandIn is one capture as it was handed in and measured. Reading and judging
// it is the caller's.
type HandIn struct {
	Report    *report.Capture
	Analysis  *decode.Analysis
	MinFrames func(channel string) int64 // fewer say too little
	Answers   Answers
}

// target is a channel of a hand-in under its name in the document.
type target struct {
	told *report.Channel
	ca   *decode.ChannelAnalysis
}

// choice is what a criterion's channel comes to in a hand-in.
type choice struct {
	targets []target
	every   bool   // all of them count, not the best
	missing string // why there is none
}

// mostNamed channels stand in the remark that a wanted one is missing.
const mostNamed = 6

// targets lists every channel that is told, and every slot.
func (h *HandIn) targets() []target {
	measured := map[string]*decode.ChannelAnalysis{}
	for _, ca := range h.Analysis.Channels {
		measured[ca.Name] = ca
	}
	var all []target
	for _, ch := range h.Report.Channels {
		ca := measured[ch.Name]
		all = append(all, target{ch, ca})
		for k, s := range ch.Slots {
			all = append(all, target{s, ca.Slots[k]})
		}
	}
	return all
}

// choose finds the first of the alternatives that exists.
func (h *HandIn) choose(alternatives []string) choice {
	all := h.targets()
	var names, missing []string
	for _, name := range alternatives {
		name = h.Answers.Channel(name)
		c := choose(all, name)
		if len(c.targets) > 0 {
			return c
		}
		if c.missing == "" {
			names = append(names, name)
		} else {
			missing = append(missing, c.missing)
		}
	}
	if len(names) > 0 {
		missing = append(missing, "no channel "+phrase.Or(names)+", but "+h.named())
	}
	return choice{missing: strings.Join(missing, ", ")}
}

// named lists what channels there are, the first few of many.
func (h *HandIn) named() string {
	var names []string
	for _, ch := range h.Report.Channels {
		names = append(names, ch.Name)
	}
	if n := len(names) - mostNamed; n > 1 {
		names = append(names[:mostNamed], fmt.Sprintf("%d more", n))
	}
	return phrase.And(names)
}

func choose(all []target, name string) choice {
	pick := func(keep func(target) bool) []target {
		return slices.DeleteFunc(slices.Clone(all), func(t target) bool { return !keep(t) })
	}
	switch name {
	case "any", "every":
		return choice{pick(func(t target) bool { return t.told.Judged }), name == "every", "no channel that is judged"}
	case "only":
		servos := pick(func(t target) bool { return t.told.Signal == string(decode.Servo) && !t.told.Slot() })
		if len(servos) != 1 {
			return choice{missing: fmt.Sprintf("%d servo channels and not one", len(servos))}
		}
		return choice{targets: servos}
	}
	return choice{targets: pick(meant(name))}
}

// meant tells which channels a name, label, pattern or column "#3" means.
func meant(name string) func(target) bool {
	if n, ok := strings.CutPrefix(name, "#"); ok {
		if column, err := strconv.Atoi(n); err == nil {
			return func(t target) bool { return !t.told.Slot() && t.told.Column() == column }
		}
	}
	return func(t target) bool {
		return phrase.Matches(name, t.told.Name) || t.told.Label != "" && phrase.Matches(name, t.told.Label)
	}
}

// StudentOf names the student of a file: its name without .gz or .zst and one
// format ending.
func StudentOf(file string) string {
	base := stem(file)
	for _, ending := range endings {
		if s, ok := cutSuffixFold(base, ending); ok && s != "" {
			return s
		}
	}
	return base
}

// stem is the file's name without what compressed it.
func stem(file string) string {
	base := base(file)
	for _, packed := range []string{".gz", ".zst"} {
		if s, ok := cutSuffixFold(base, packed); ok && s != "" {
			return s
		}
	}
	return base
}

func base(file string) string { return path.Base(strings.ReplaceAll(file, `\`, "/")) }

// endings of captures.
var endings = []string{".csv", ".tsv", ".txt", ".vcd", ".toml"}

func cutSuffixFold(s, suffix string) (string, bool) {
	if len(s) < len(suffix) || !strings.EqualFold(s[len(s)-len(suffix):], suffix) {
		return s, false
	}
	return s[:len(s)-len(suffix)], true
}
