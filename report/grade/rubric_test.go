package grade

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The beginning of a criterion, and of one of a channel.
const (
	unnamed  = "[[criterion]]\nname = 'period'\npoints = 4\n"
	onRudder = unnamed + "channel = 'rudder'\n"
)

// refusedRubrics are rubrics and what is said of them.
var refusedRubrics = []struct{ text, want string }{
	{"title = 'lab'", "R:1:9: the rubric has no criterion; one or more [[criterion]]; widthwise help rubric prints an example"},
	{"titel = 'lab'", `R:1:1: unknown key "titel"`},
	{"points = 5\n" + onRudder + "measure = 'period_us.nominal'\nfull = [1, 2]", "R:1:10: the criteria add up to 4 points and not to 5; points that add up, or no total"},
	{"[[criterion]]\npoints = 4", `R:1:3: a criterion without a name; name = "..."`},
	{"[[criterion]]\nname = 'a'", `R:1:3: criterion "a" has no points; points = 4`},
	{"[[criterion]]\nname = 'a'\npoints = -1", "R:3:10: points = -1; a number above 0, of at most two decimals"},
	{"[[criterion]]\nname = 'a'\npoints = 0.333", "R:3:10: points = 0.333; a number above 0, of at most two decimals"},
	{unnamed, `R:2:8: criterion "period" has nothing to look at; measure, finding, rests or answer`},
	{onRudder + "measure = 'signal'\nfull = 'servo'\nfinding = 'glitch'\nat_most = 0", `R:7:11: criterion "period" looks at two things, measure and finding; one of them, and a criterion for the other`},
	{onRudder + "finding = 'glitch'\nat_most = 0\nfeedback = { full = '{measured}', none = '{measurd}' }", "R:7:42: nothing is filled in for {measurd}; {measured} or {wanted}"},
	{onRudder + "finding = 'glitch'\nat_most = 0\nfull = [1, 2]", "R:7:1: full does not go with finding; leave it out"},
	{unnamed + "measure = 'period_us.nominal'\nfull = [1, 2]", `R:4:11: period_us.nominal is a figure of a channel, and the criterion names none; channel = "rudder", "any", "every" or "only"`},
	{onRudder + "measure = 'duration_s'\nfull = [1, 2]", "R:5:11: duration_s is a figure of the capture as a whole; leave channel out"},
	{onRudder + "measure = 'period_us.nominall'\nfull = [1, 2]", `R:5:11: no figure "period_us.nominall"; the nearest are period_us.nominal, `},
	{onRudder + "measure = 'nominal'\nfull = [1, 2]", `R:5:11: no figure "nominal"; the nearest are `},
	{onRudder + "measure = 'period_us.nominal'", "R:5:11: measure without full; full = [21900, 22100]"},
	{onRudder + "measure = 'period_us.nominal'\nfull = [2, 1]", "R:6:1: the band [2, 1] does not rise; [low, high]"},
	{onRudder + "measure = 'period_us.nominal'\nfull = [1, nan]", "R:6:1: the band [1, NaN] does not rise; [low, high]"},
	{onRudder + "measure = 'period_us.nominal'\nfull = 'servo'", "R:6:8: period_us.nominal is a number, and this is none; [21900, 22100]"},
	{onRudder + "measure = 'signal'\nfull = 'servos'", `R:6:8: signal is never "servos"; servo, pulse-position, duty, serial, echo, irregular, silent`},
	{onRudder + "measure = 'signal'\nfull = { any = ['servo', 3] }", `R:6:8: signal is a word, and this is none; "servo"`},
	{onRudder + "measure = 'judged'\nfull = 1", "R:6:8: judged is a truth, and this is none; true"},
	{onRudder + "measure = 'period_us.nominal'\nfull = [20, 24]\npartly = [{ within = [21, 23], points = 1 }]", "R:7:13: this part lies within full, and would never count; a wider band, or another one"},
	{onRudder + "measure = 'period_us.nominal'\nfull = [20, 24]\npartly = [{ within = [10, 30], points = 4 }]", "R:7:41: a part earns 4 of 4 points; less than full earns"},
	{onRudder + "measure = 'period_us.nominal'\nfull = [20, 24]\npartly = [{ at_most = 3, points = 1 }]", "R:7:11: a part with the wrong condition; { within = [21900, 22100], points = 1 }"},
	{onRudder + "finding = 'droped-frame'\nat_most = 0", `R:5:11: no kind of finding "droped-frame"; the nearest are dropped-frame, `},
	{onRudder + "finding = 'dropped-frame'", "R:5:11: no number of findings is stated; at_most = 0, or at_least = 1"},
	{onRudder + "finding = 'dropped-frame'\nat_least = 3\nat_most = 1", "R:5:11: no number is at least 3 and at most 1; at_least below at_most, neither below 0"},
	{onRudder + "finding = 'dropped-frame'\nat_most = 3\npartly = [{ at_most = 3, points = 1 }]", "R:7:11: this part lies within what earns all points, and would never count; a wider one"},
	{unnamed + "rests = [{ near_us = 1500, within_us = 60, at_least = '1s' }]", `R:4:1: rests are those of a channel, and the criterion names none; channel = "rudder", "any", "every" or "only"`},
	{onRudder + "rests = []", "R:5:1: an empty list of rests; "},
	{onRudder + "rests = [{ near_us = 1500, at_least = '1s' }]", "R:5:10: a rest without a place or a length; "},
	{onRudder + "rests = [{ near_us = 1500, within_us = 60, at_least = 1 }]", "R:5:55: "},
	{onRudder + "answer = 'period'", `R:5:10: an answer with nothing to hold it against; against = "period_us.nominal"`},
	{onRudder + "answer = 'period'\nagainst = 'signal'\nwithin = 1", "R:6:11: signal is a word; a number"},
	{onRudder + "answer = 'period'\nagainst = 'period_us.nominal'", "R:5:10: how near the answer has to be is stated twice or not at all; "},
	{onRudder + "answer = 'period'\nagainst = 'period_us.nominal'\nwithin = 1\nscale = 0.0", "R:8:9: scale = 0; "},
	{onRudder + "answer = 'period'\nagainst = 'period_us.nominal'\nwithin_percent = 5\npartly = [{ within_percent = 2, points = 1 }]", "R:8:11: this part lies within what earns all points, and would never count; a wider one"},
	{onRudder + "measure = 'signal'\nfull = 'servo'\n" + onRudder + "measure = 'active'\nfull = 'high'", `R:8:8: a second criterion "period"; `},
	{unnamed + "channel = 3\nmeasure = 'signal'\nfull = 'servo'", "R:4:11: channel is no name; "},
	{unnamed + "channel = []\nmeasure = 'signal'\nfull = 'servo'", "R:4:1: channel is an empty list; "},
}

// Every refusal is one line with its place.
func TestRubricRefusals(t *testing.T) {
	for _, c := range refusedRubrics {
		_, err := ParseRubric("R", []byte(c.text))
		if assert.Error(t, err, c.text) {
			assert.Contains(t, err.Error(), c.want, c.text)
			assert.NotContains(t, err.Error(), "\n")
		}
	}
}

// Bands may be open, lists of channels and words are taken as they stand.
func TestRubricTaken(t *testing.T) {
	r, err := ParseRubric("R", []byte(`title = "Lab 3"
points = 6.5
[[criterion]]
name = "frame period"
points = 4
channel = ["rudder", "D?", "#3"]
measure = "period_us.nominal"
full = [21900, inf]
partly = [{ within = [21500, 22500], points = 2.5 }]
[[criterion]]
name = "servo"
points = 2.5
channel = "any"
measure = "signal"
full = { any = ["servo", "duty"] }
`))
	require.NoError(t, err)
	assert.Equal(t, "6.5", r.Points.String())
	assert.Equal(t, []string{"#3", "D?", "rudder"}, r.Names())
	assert.Equal(t, "at least 21900 us", r.Criteria[0].task.wanted(nil, nil))
	assert.Equal(t, "servo or duty", r.Criteria[1].task.wanted(nil, nil))
}

// No text crashes the reader, and every refusal is one line.
func FuzzRubric(f *testing.F) {
	for _, c := range refusedRubrics {
		f.Add(c.text)
	}
	f.Add("[[criterion]]\nname='a'\npoints=1\nchannel=['x']\nmeasure='signal'\nfull={any=['servo']}")
	f.Add("[[criterion]]\nname='a'\npoints=1\nchannel='x'\nrests=[{near_us=1500,within_us=60,at_least='1s'}]")
	f.Add("[[criterion]]\nname='a'\npoints=1\nanswer='p'\nagainst='duration_s'\nwithin=1\npartly=[{within=3,points=0.5}]")
	f.Fuzz(func(t *testing.T, text string) {
		r, err := ParseRubric("R", []byte(text))
		if err != nil {
			assert.Regexp(t, `^R:[^\n]*$`, err.Error())
			return
		}
		assert.Positive(t, r.Points)
	})
}
