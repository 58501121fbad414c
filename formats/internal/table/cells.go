package table

import (
	"bytes"
	"maps"
	"strings"

	"golang.org/x/exp/slices"

	"widthwise/decode"
	"widthwise/formats/internal/analog"
	"widthwise/formats/internal/exact"
)

// cellClass is what a cell looks like on its own.
type cellClass uint8

const (
	emptyCell cellClass = iota
	numberCell
	wordCell     // a level in words
	unknownCell  // a level that is not known
	dateCell     // a date and time, or a time of day
	quantityCell // a number with a unit of time
	textCell
)

// levelWords are levels in words, small letters. The single letters are those
// of VHDL's std_logic where it has them; x, z, u and w are unknown there.
var levelWords = map[string]decode.Level{
	"0": decode.Low, "1": decode.High, "false": decode.Low, "true": decode.High,
	"low": decode.Low, "high": decode.High, "lo": decode.Low, "hi": decode.High,
	"l": decode.Low, "h": decode.High, "off": decode.Low, "on": decode.High,
	"no": decode.Low, "yes": decode.High, "f": decode.Low, "t": decode.High,
	"down": decode.Low, "up": decode.High, "clear": decode.Low, "set": decode.High,
	"x": decode.Unknown, "z": decode.Unknown, "u": decode.Unknown, "w": decode.Unknown,
	"-": decode.Unknown, "?": decode.Unknown, "nan": decode.Unknown, "unknown": decode.Unknown,
	"undefined": decode.Unknown, "n/a": decode.Unknown, "na": decode.Unknown,
}

// longestWord is the size of the longest level word.
const longestWord = 9

// wordLevel returns the level a word stands for.
func wordLevel(text []byte) (l decode.Level, ok bool) {
	if len(text) == 0 || len(text) > longestWord {
		return decode.Unknown, false
	}
	var low [longestWord]byte
	for i, c := range text {
		if c >= 'A' && c <= 'Z' {
			c += 'a' - 'A'
		}
		low[i] = c
	}
	l, ok = levelWords[string(low[:len(text)])]
	return l, ok
}

func classify(text []byte, mark byte) cellClass {
	if len(text) == 0 {
		return emptyCell
	}
	if _, ok := exact.ReadNumber(text, mark); ok {
		return numberCell
	}
	if l, ok := wordLevel(text); ok {
		if l == decode.Unknown {
			return unknownCell
		}
		return wordCell
	}
	if _, _, _, ok := readDate(text); ok {
		return dateCell
	}
	if number, unit := cutUnit(text); unit != "" {
		_, isNumber := exact.ReadNumber(number, mark)
		if _, isTime := timeUnits[unit]; isNumber && isTime {
			return quantityCell
		}
	}
	return textCell
}

// profile is what the cells of one column have in common.
type profile struct {
	count    [textCell + 1]int
	rows     int
	byOne    bool // whole numbers, each one more than the last
	whole    bool // whole numbers
	rises    int  // numbers larger than the one before
	falls    int  // and smaller
	last     int64
	huge     int             // numbers no level can be
	values   []int64         // up to three different numbers, in nanounits
	words    map[string]bool // the different texts, up to maxWords
	bits     int             // cells of digits 0 and 1 (x, z) as many as in the first
	hex      int             // cells of hexadecimal digits likewise
	prefixed bool            // with 0x or 0b, or an h behind
	leading  bool            // some start with a needless zero
	letters  bool            // some hold a hexadecimal letter
	size     int             // of bits or hex
	above    look            // at the cell before
	times    int             // it has come by now, not yet counted
}

const (
	maxWords = 4096 // so many different texts of a column are told apart
	fewWords = 8
)

func newProfile() *profile {
	return &profile{byOne: true, whole: true, words: map[string]bool{}}
}

// look is what a cell's text says by itself; most cells repeat the one above.
type look struct {
	text   []byte
	class  cellClass
	value  int64 // in nanounits
	scaled bool  // the value is that, and not whole units
	digits []byte
	base   int
	marked bool
	bits   bool // digits 0, 1, x and z
	hex    bool
	letter bool // a hexadecimal one is among the digits
}

func lookAt(text []byte, mark byte) look {
	l := look{text: text}
	if x, ok := exact.ReadNumber(text, mark); ok {
		l.class = numberCell
		if l.value, l.scaled = x.Int64(9); !l.scaled { // such as an epoch stamp in nanoseconds
			l.value, _ = x.Int64(0)
		}
	} else {
		l.class = classify(text, mark)
	}
	l.digits, l.base, l.marked = packedDigits(text)
	l.bits, l.hex = isBits(l.digits), isHex(l.digits)
	l.letter = bytes.ContainsAny(l.digits, "abcdefABCDEF")
	return l
}

// add takes in the next cell. Cells that repeat the one above are counted
// together.
func (p *profile) add(text []byte, mark byte) {
	if p.times > 0 && bytes.Equal(text, p.above.text) {
		p.times++
		return
	}
	p.settle()
	p.above, p.times = lookAt(text, mark), 1
	if len(text) > 0 && len(p.words) < maxWords {
		if len(p.words) == fewWords { // a column of stamps: there will be many
			words := make(map[string]bool, maxWords/4)
			maps.Copy(words, p.words)
			p.words = words
		}
		p.words[string(text)] = true
	}
}

// settle counts the cells that are alike, up to the last one.
func (p *profile) settle() {
	c, n := &p.above, p.times
	if p.times = 0; n == 0 {
		return
	}
	p.count[c.class] += n
	p.rows += n
	p.byOne = p.byOne && n == 1 && c.class == numberCell
	if c.class != emptyCell {
		p.addPacked(c, n)
	}
	if c.class == numberCell {
		p.addNumber(c, n)
	}
}

func (p *profile) addNumber(c *look, n int) {
	if c.value >= analog.Most || c.value <= -analog.Most || !c.scaled {
		p.huge += n
	}
	if before := p.count[numberCell] - n; before > 0 {
		switch {
		case c.value > p.last:
			p.rises++
		case c.value < p.last:
			p.falls++
		}
		p.byOne = p.byOne && c.value-p.last == 1e9
	}
	p.last = c.value
	p.whole = p.whole && c.value%1e9 == 0 && c.scaled
	p.byOne = p.byOne && p.whole
	if len(p.values) < 3 && !slices.Contains(p.values, c.value) {
		p.values = append(p.values, c.value)
	}
}

// addPacked holds n cells against the spellings of several bits in one.
func (p *profile) addPacked(c *look, n int) {
	digits := c.digits
	if p.size == 0 {
		p.size, p.prefixed = len(digits), c.marked
	}
	same := p.size == len(digits) && p.prefixed == c.marked && len(digits) > 0
	if same && c.base != 16 && c.bits {
		p.bits += n
	}
	if same && c.base != 2 && c.hex {
		p.hex += n
	}
	p.leading = p.leading || len(digits) > 1 && digits[0] == '0'
	p.letters = p.letters || c.letter
}

// packedDigits takes 0b, 0x, h' and an h behind off a group of bits.
func packedDigits(text []byte) (digits []byte, base int, marked bool) {
	switch {
	case len(text) > 2 && text[0] == '0' && (text[1] == 'x' || text[1] == 'X'):
		return text[2:], 16, true
	case len(text) > 2 && text[0] == '0' && (text[1] == 'b' || text[1] == 'B'):
		return text[2:], 2, true
	case len(text) > 1 && (text[len(text)-1] == 'h' || text[len(text)-1] == 'H'):
		return text[:len(text)-1], 16, true
	}
	return text, 0, false
}

func isBits(digits []byte) bool {
	for _, c := range digits {
		if strings.IndexByte("01xXzZ", c) < 0 {
			return false
		}
	}
	return true
}

func isHex(digits []byte) bool {
	for _, c := range digits {
		if !(c >= '0' && c <= '9' || c >= 'a' && c <= 'f' || c >= 'A' && c <= 'F') {
			return false
		}
	}
	return true
}

// packed tells whether the column holds several bits in each cell: marked as
// such, or digits that cannot be a plain number or level. base is 2 or 16.
func (p *profile) packed() (base int, ok bool) {
	switch {
	case p.size == 0 || p.size > maxColumns:
		return 0, false
	case p.packedBits():
		return 2, true
	}
	return 16, p.packedHex()
}

func (p *profile) packedBits() bool {
	full := p.rows - p.count[emptyCell]
	return 3*p.bits >= 2*full && (p.prefixed || p.size > 1 && p.leading || p.size >= 8 && full > 1)
}

func (p *profile) packedHex() bool {
	full := p.rows - p.count[emptyCell]
	digits := p.size > 1 && p.letters && p.count[textCell] > 0 && p.count[wordCell]+p.count[unknownCell] == 0
	return 3*p.hex >= 2*full && (p.prefixed || digits)
}

// numbered tells whether all texts are one letter and a number, the letter the
// same in all: D0, D1.
func (p *profile) numbered() bool {
	letter := byte(0)
	for w := range p.words {
		if letter == 0 {
			letter = w[0]
		}
		if w[0] != letter || strings.Trim(w[1:], "0123456789") != "" || len(w) < 2 {
			return false
		}
	}
	return letter >= 'A'
}

// zeroOne tells whether all numbers are 0 or 1 and both occur.
func (p *profile) zeroOne() bool {
	return len(p.values) == 2 && (p.values[0] == 0 && p.values[1] == 1e9 || p.values[0] == 1e9 && p.values[1] == 0)
}

// onlyZeroOne tells whether no number is anything but 0 or 1.
func (p *profile) onlyZeroOne() bool {
	for _, v := range p.values {
		if v != 0 && v != 1e9 {
			return false
		}
	}
	return true
}

// levelsOnly tells whether the numbers are 0 and 1 as levels are: they do not
// count up.
func (p *profile) levelsOnly() bool {
	return len(p.values) > 0 && p.onlyZeroOne() && p.rises < p.count[numberCell]-1
}

// counts tells whether the numbers may be those of samples: whole, and never
// falling.
func (p *profile) counts() bool { return p.whole && p.falls == 0 }

// rising tells whether the numbers may be stamps: they never fall, or nearly
// always rise.
func (p *profile) rising() bool {
	n := p.count[numberCell]
	if n < 2 || 2*n < p.rows || p.rises == 0 {
		return false
	}
	if p.falls == 0 {
		return len(p.values) > 2 || p.rises == n-1
	}
	return len(p.values) > 2 && 4*p.rises >= 3*(n-1)
}

// contradicts tells whether a name as short as S, T or Us, which may be a
// channel's as well as the time's, stands over numbers that go up and down.
func (p *profile) contradicts(name string) bool {
	return len(name) <= 2 && p.falls > 1 && 4*p.falls > p.rises
}

// kind says what the column is, its place in the table aside. Up to a third of
// the cells may be something else: damage, which is told when it is reached.
func (p *profile) kind() columnKind {
	full := p.rows - p.count[emptyCell]
	levels := p.count[wordCell] + p.count[unknownCell]
	most := func(n int) bool { return n > 0 && 3*n >= 2*full }
	if _, ok := p.packed(); ok {
		return packedColumn
	}
	switch {
	case full == 0:
		return textColumn
	case most(p.count[dateCell]):
		return dateColumn
	case most(p.count[quantityCell]):
		return quantityColumn
	case !most(levels + p.count[numberCell]):
		return textColumn
	case p.count[unknownCell] == full && !p.stdLogic():
		return textColumn // dashes and the like
	case p.count[numberCell] == 0, p.count[wordCell] > 0 && p.onlyZeroOne():
		return levelColumn
	}
	return numberColumn
}

// stdLogic tells whether all cells are letters for an unknown level.
func (p *profile) stdLogic() bool {
	for w := range p.words {
		if !strings.Contains("xzuwXZUW", w) {
			return false
		}
	}
	return true
}

// columnKind says what a column holds.
type columnKind uint8

const (
	textColumn columnKind = iota
	timeColumn
	indexColumn // sample numbers beside a time column
	nameColumn  // of a long table: which channel a row speaks of
	levelColumn // levels in words
	numberColumn
	packedColumn
	dateColumn     // until it is chosen as the time: text
	quantityColumn // likewise
)

// isComment tells whether a line is a remark.
func isComment(line []byte, delimiter byte) bool {
	line = bytes.TrimLeft(line, " \t")
	if len(line) == 0 {
		return false
	}
	switch line[0] {
	case '#', '%':
		return true
	case ';':
		return delimiter != ';'
	}
	return bytes.HasPrefix(line, []byte("//"))
}

func isBlank(line []byte) bool { return len(bytes.TrimSpace(line)) == 0 }

// commentText takes the marks off a remark.
func commentText(line []byte) string {
	return strings.TrimSpace(strings.TrimLeft(plainText(line), "#;%/ \t"))
}
