package table

import (
	"regexp"
	"strings"
	"unicode/utf8"

	"widthwise/formats/internal/exact"
)

// timeUnits are the units of time by their usual spellings in small letters,
// as powers of ten of a picosecond.
var timeUnits = map[string]int{
	"s": 12, "sec": 12, "secs": 12, "second": 12, "seconds": 12,
	"ms": 9, "msec": 9, "msecs": 9, "millisecond": 9, "milliseconds": 9, "millis": 9,
	"us": 6, "usec": 6, "usecs": 6, "microsecond": 6, "microseconds": 6, "micros": 6,
	"ns": 3, "nsec": 3, "nsecs": 3, "nanosecond": 3, "nanoseconds": 3, "nanos": 3,
	"ps": 0, "psec": 0, "picosecond": 0, "picoseconds": 0,
}

// voltUnits are powers of ten of a nanovolt.
var voltUnits = map[string]int{
	"v": 9, "volt": 9, "volts": 9, "mv": 6, "millivolt": 6, "millivolts": 6,
	"uv": 3, "microvolt": 3, "microvolts": 3, "kv": 12,
}

// otherUnits are taken off a name in brackets and mean nothing further.
var otherUnits = map[string]bool{
	"a": true, "ma": true, "hz": true, "khz": true, "mhz": true, "%": true, "bit": true, "bits": true,
	"logic": true, "level": true, "digital": true, "bool": true, "boolean": true, "0/1": true,
	"adc": true, "counts": true, "lsb": true, "1": true, "-": true, "": true, "hex": true, "bin": true, "binary": true,
}

func isUnit(u string) bool {
	_, isTime := timeUnits[u]
	_, isVolt := voltUnits[u]
	return isTime || isVolt || otherUnits[u]
}

// unitName brings a unit as written to the spelling of the tables above.
func unitName(text string) string {
	return strings.TrimSpace(microSigns.Replace(strings.ToLower(strings.TrimSpace(text))))
}

// microSigns are the micro sign and the letter mu.
var microSigns = strings.NewReplacer("\u00b5", "u", "\u03bc", "u")

// plainText returns text as UTF-8; bytes that are not are taken for Latin-1.
func plainText(text []byte) string {
	if utf8.Valid(text) {
		return strings.TrimSpace(string(text))
	}
	var b strings.Builder
	for len(text) > 0 {
		r, size := utf8.DecodeRune(text)
		if r == utf8.RuneError && size == 1 {
			r = rune(text[0])
		}
		b.WriteRune(r)
		text = text[size:]
	}
	return strings.TrimSpace(b.String())
}

var bracketed = regexp.MustCompile(`^(.*?)\s*(?:\[([^\[\]]*)\]|\(([^()]*)\)|\{([^{}]*)\}|<([^<>]*)>)$`)

// cutBrackets parts a header cell from a trailing unit in brackets.
func cutBrackets(cell string) (name, unit string) {
	if cell == "" || strings.IndexByte("])}>", cell[len(cell)-1]) < 0 {
		return cell, ""
	}
	m := bracketed.FindStringSubmatch(cell)
	if m == nil {
		return cell, ""
	}
	if u := saidUnit(unitName(m[2] + m[3] + m[4] + m[5])); isUnit(u) {
		return strings.TrimSpace(m[1]), u
	}
	return cell, ""
}

// saidUnit takes what is said about a unit off it: "in us", "us since start".
func saidUnit(u string) string {
	u, _, _ = strings.Cut(strings.TrimPrefix(u, "in "), " since ")
	return u
}

var (
	// TimeUs, and a unit before or behind words that are the time with one only.
	camelTime  = regexp.MustCompile(`^[tT](?:ime(?:[sS]tamp)?)?([munp]?[sS]|[MUN][sS]|[SMUN]ec)$`)
	unitBefore = regexp.MustCompile(`^([a-z\x{b5}\x{3bc}]+)[ _.-]+(.*)$`)
	stampWord  = regexp.MustCompile(`^(?:stamp|clock|at)$`)

	timeWord  = regexp.MustCompile(`^(?:rel(?:ative)?[ _.-]?|abs(?:olute)?[ _.-]?|elapsed[ _.-]?|delta[ _.-]?|sample[ _.-]?|capture[ _.-]?)?(?:time|t|timestamps?|time[ _-]stamps?|elapsed|instant|zeit|zeitstempel|temps|tiempo|tempo|tid|tijd|czas|date ?time|epoch|unix)(?:[ _-]?(?:axis|value|base|of day))?$`)
	indexWord = regexp.MustCompile(`^(?:#|no\.?|nr\.?|n|i|idx|index|samples?|sample[ _-]?(?:no\.?|nr\.?|number|index|#|count)|row(?:[ _-]?(?:no\.?|number|index))?|points?|num|number|counter)$`)
	nameWord  = regexp.MustCompile(`^(?:channel|chan|ch|signal|line|pin|wire|name|id|input|port|source|channel[ _-]?(?:name|id|no\.?|number)|signal[ _-]?name)$`)
	levelWord = regexp.MustCompile(`^(?:level|value|state|val|logic|data|edge|new[ _-]?(?:level|value|state)|v)$`)
	dateWord  = regexp.MustCompile(`^(?:date|day|datum)$`)
	// A unit that follows the word for time: time_us, t/ms, time in ns, t, s.
	timeSuffix = regexp.MustCompile(`^(.*?)(?:[ _./,:-]+(?:in[ _])?|\bin )([a-z\x{b5}\x{3bc}]+)\.?$`)
)

// timeHeader tells whether a header cell names the time, with its unit or "".
func timeHeader(cell string) (isTime bool, unit string) {
	name, unit := cutBrackets(cell)
	if m := camelTime.FindStringSubmatch(name); m != nil && len(name) > 2 && m[1] != "s" {
		return true, unitName(m[1])
	}
	name = saidUnit(strings.ToLower(strings.TrimSpace(name)))
	if timeWord.MatchString(name) || hasTimeUnit(unit) && (name == "" || name == "x") {
		return true, unit
	}
	if u := unitBeside(name); u != "" {
		return true, u
	}
	// The unit alone: "us", "seconds".
	if u := unitName(name); unit == "" && hasTimeUnit(u) {
		return true, u
	}
	return false, unit
}

// unitBeside returns the unit behind or before a word for time, "" where there
// is no such word or no such unit.
func unitBeside(name string) string {
	if !strings.ContainsAny(name, " _./,:-") {
		return ""
	}
	if m := timeSuffix.FindStringSubmatch(name); m != nil {
		word := strings.TrimSpace(m[1])
		if u := unitName(m[2]); hasTimeUnit(u) && (timeWord.MatchString(word) || stampWord.MatchString(word)) {
			return u
		}
	}
	if m := unitBefore.FindStringSubmatch(name); m != nil {
		if u := unitName(m[1]); hasTimeUnit(u) && timeWord.MatchString(m[2]) {
			return u
		}
	}
	return ""
}

// namesTime tells whether a header cell names the time.
func namesTime(cell string) bool {
	isTime, _ := timeHeader(cell)
	return isTime
}

// saysTime tells whether a name is a word for time and not a unit alone.
func saysTime(name string) bool { return !hasTimeUnit(unitName(name)) && namesTime(name) }

// facts are what comments and rows of key and value say about the samples.
type facts struct {
	rate     exact.Rate
	rateLine int64
	unit     string
	unitLine int64
}

var (
	rateFact     = regexp.MustCompile(`(?:sampl\w*[ _-]*(?:rate|freq\w*|clock)|\brate\b|\bfs\b|\bfrequency\b)([^0-9+\-]*?)([0-9][0-9.,]*(?:e[+-]?[0-9]+)?)\s*([kmg]?)(?:hz|s/s|sps|sa/s|samples?\s*(?:/|per)\s*s)?`)
	intervalFact = regexp.MustCompile(`(?:sampl\w*[ _-]*(?:interval|period|time|step|spacing)|time[ _-]*(?:step|increment|interval|per sample)|\binterval\b|\bincrement\b|\bdt\b)([^0-9+\-]*?)([0-9][0-9.,]*(?:e[+-]?[0-9]+)?)\s*([a-z\x{b5}\x{3bc}]*)`)
	unitFact     = regexp.MustCompile(`(?:(?:time|x)[ _-]*(?:units?|base)|units?[ _-]of[ _-]time|times?(?:stamps?)? (?:(?:is|are) )?(?:given )?in|stamps? in|time[ _-]*scale|^\W*units?)[\s:=,;\t"]*(?:is |are |1\s*)?([a-z\x{b5}\x{3bc}]+)`)
	factUnit     = regexp.MustCompile(`[\[({<]\s*([a-z/\x{b5}\x{3bc}]+)\s*[\])}>]`)
	grouped      = regexp.MustCompile(`^[0-9]{1,3}(?:,[0-9]{3})+$`)
	bracketUnit  = regexp.MustCompile(`\btime\s*[\[(]([a-z\x{b5}\x{3bc}]+)[\])]`)
)

// learn takes in what a line before the data says. The first word wins.
func (f *facts) learn(text string, line int64) {
	low := strings.ToLower(text)
	if f.rate == (exact.Rate{}) {
		if r, ok := findRate(low); ok {
			f.rate, f.rateLine = r, line
		}
	}
	if f.unit == "" {
		for _, fact := range []*regexp.Regexp{unitFact, bracketUnit} {
			if m := fact.FindStringSubmatch(low); m != nil {
				u := unitName(m[1])
				if _, known := timeUnits[u]; known {
					f.unit, f.unitLine = u, line
				}
			}
		}
	}
}

// findRate reads a sample rate, or an interval between samples, from a line in
// small letters.
func findRate(low string) (exact.Rate, bool) {
	if m := intervalFact.FindStringSubmatch(low); m != nil {
		return rateOfInterval(m[1], m[2], m[3])
	}
	if m := rateFact.FindStringSubmatch(low); m != nil {
		return rateOf(m[1], m[2], m[3])
	}
	return exact.Rate{}, false
}

// rateOfInterval is the rate of an interval in a unit, which may stand in brackets
// before the digits: seconds where there is none.
func rateOfInterval(before, digits, unit string) (exact.Rate, bool) {
	if in := factUnit.FindStringSubmatch(before); unit == "" && in != nil {
		unit = in[1]
	}
	shift, known := timeUnits[unitName(unit)]
	if unit == "" {
		shift, known = 12, true
	}
	x, ok := factNumber(digits)
	if !ok || !known {
		return exact.Rate{}, false
	}
	fs, ok := x.Int64(shift + 3) // femtoseconds, so that 1/24 us is not cut short too soon
	return exact.Rate{Num: 1e15, Den: fs}, ok && fs > 0
}

// ratePrefixes are powers of ten of a hertz.
var ratePrefixes = map[string]int{"": 0, "k": 3, "m": 6, "g": 9}

// rateOf is a rate in hertz with a prefix, which may stand in brackets before the
// digits.
func rateOf(before, digits, prefix string) (exact.Rate, bool) {
	if in := factUnit.FindStringSubmatch(before); prefix == "" && in != nil && len(in[1]) > 2 {
		prefix = in[1][:1] // of khz, say; hz has none
	}
	if prefix == "" && grouped.MatchString(digits) {
		digits = strings.ReplaceAll(digits, ",", "") // no table is sampled at a few hertz
	}
	x, ok := factNumber(digits)
	if !ok {
		return exact.Rate{}, false
	}
	mHz, ok := x.Int64(ratePrefixes[prefix] + 3) // millihertz, so that 33.333 Hz keeps its digits
	return exact.Rate{Num: mHz, Den: 1000}, ok && mHz > 0
}

// factNumber reads a number of a comment, with a point or a decimal comma.
func factNumber(text string) (exact.Number, bool) {
	text = strings.TrimRight(text, ".,")
	if x, ok := exact.ReadNumber([]byte(text), '.'); ok {
		return x, true
	}
	return exact.ReadNumber([]byte(text), ',')
}
