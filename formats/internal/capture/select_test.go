package capture

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// tug is what a small capture offers: two columns, a dump's scalar with an
// alias, and things that are never channels.
var tug = []Variable{
	{Name: "Time", Kind: "time", Column: 1},
	{Name: "throttle", Kind: "digital", Column: 2},
	{Name: "rudder", Kind: "digital", Column: 3, Path: "boat.aft.rudder", Aliases: []string{"helm", "boat.helm"}},
	{Name: "remark", Kind: "text", Column: 4},
}

func TestSelect(t *testing.T) {
	for wish, want := range map[string]string{
		"":                "throttle rudder",
		"rudder":          "rudder!",
		"boat.aft.rudder": "rudder!",
		"helm":            "rudder!",
		"boat.*":          "rudder!",
		"?hrottle":        "throttle!",
		"*r*":             "throttle! rudder!",
		"#2":              "throttle!",
		"#3 throttle":     "throttle! rudder!",
		"#1":              `channel "#1": column 1 holds time; the capture has throttle, rudder`,
		"#4":              `channel "#4": column 4 holds text; the capture has throttle, rudder`,
		"remark":          `channel "remark": column 4 holds text; the capture has throttle, rudder`,
		"#9":              `no channel matches "#9"; the capture has throttle, rudder`,
		"#":               `no channel matches "#"; the capture has throttle, rudder`,
		"winch":           `no channel matches "winch"; the capture has throttle, rudder`,
		"Rudder":          `no channel matches "Rudder"; did you mean "rudder"? the capture has throttle, rudder`,
		"throttle w*":     `no channel matches "w*"; the capture has throttle, rudder`,
	} {
		t.Run(wish, func(t *testing.T) {
			got, err := choose(Options{Select: strings.Fields(wish)}, tug)
			if err != nil {
				require.IsType(t, &UsageError{}, err)
				got = err.Error()
			}
			assert.Equal(t, want, got)
		})
	}
}

func TestSelectAlsoAddsToTheRest(t *testing.T) {
	got, err := choose(Options{Also: []string{"rudder"}}, tug)
	require.NoError(t, err)
	assert.Equal(t, "throttle rudder!", got)
	got, err = choose(Options{Select: []string{"throttle"}, Also: []string{"rudder"}}, tug)
	require.NoError(t, err)
	assert.Equal(t, "throttle! rudder!", got)
}

// choose offers all variables and lists those selected, the named ones with a
// mark.
func choose(o Options, from []Variable) (string, error) {
	s := NewSelector(o)
	var got []string
	for _, v := range from {
		selected, named := s.Match(v)
		if named {
			got = append(got, v.Name+"!")
		} else if selected {
			got = append(got, v.Name)
		}
	}
	return strings.Join(got, " "), s.Unmatched()
}

func TestSelectBit(t *testing.T) {
	bus := Variable{Name: "bus", Path: "boat.bus", Kind: "vector", Width: 12, Aliases: []string{"lines"}}
	for wish, want := range map[string][]int{
		"bus[3]":       {3},
		"boat.bus[11]": {11},
		"lines[0]":     {0},
		"bus[1*]":      {1, 10, 11},
		"b*[2]":        {2},
		"bus[ 3 ]":     {3},
		"bus":          nil,
		"*":            nil,
		"bus[12]":      nil,
		"bus[3":        nil,
		"other[3]":     nil,
	} {
		s := NewSelector(Options{Select: []string{wish}})
		var got []int
		for i := range bus.Width {
			if s.MatchBit(bus, i) {
				got = append(got, i)
			}
		}
		assert.Equal(t, want, got, wish)
		assert.Equal(t, want == nil, s.Unmatched() != nil, wish)
	}
}

func TestSelectListsNoMoreThanADozen(t *testing.T) {
	s := NewSelector(Options{Select: []string{"x"}})
	for range 40 {
		s.Match(Variable{Name: "a", Kind: "digital"})
	}
	assert.ErrorContains(t, s.Unmatched(), "the capture has a, a, a, a, a, a, a, a, a, a, a, a and 28 more")
}
