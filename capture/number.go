package capture

import (
	"encoding/binary"
	"math"
	"math/big"
	"math/bits"
	"strconv"
	"sync"
)

// decimal numbers are scanned by a parser of our own because the standard
// strconv.ParseFloat needs a string, knows one decimal mark and costs about
// three times as much. Every result is bit-identical to strconv.ParseFloat
// (FuzzNumber): short numbers take the exact path of Clinger 1990 (mantissa
// and power of ten both exact in binary64), others the method of Lemire,
// "Number parsing at a gigabyte per second", 2021 (Eisel-Lemire), as in Go's
// strconv; what neither decides goes to strconv itself.

// number is one scanned decimal.
type number struct {
	v      float64
	exp10  int // power of ten of the last printed digit: the printed resolution
	digits int // significant digits printed, leading zeros not counted
}

// pow10tab holds the powers of ten that are exact in binary64.
var pow10tab = [...]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22}

// scanNumber reads a decimal number at the start of b: sign, digits with one
// decimal mark, exponent. next is the index behind it; 0 means no number
// begins there. It reads no spaces, hexadecimal, NaN or Inf. A number beyond
// the range of binary64 gives next 0.
func scanNumber(b []byte, decimal byte) (n number, next int) {
	if len(b) == 0 {
		return n, 0
	}
	i := 0
	if b[0] == '-' || b[0] == '+' {
		i = 1
	}
	var man uint64
	start := i
	for i < len(b) {
		c := b[i] - '0'
		if c > 9 {
			break
		}
		man = man*10 + uint64(c)
		i++
	}
	nd := i - start
	exp := 0
	if i < len(b) && b[i] == decimal {
		frac := i + 1
		man, i = scanFraction(b, frac, man)
		exp = frac - i
		nd += i - frac
	}
	if nd == 0 {
		return n, 0
	}
	mantEnd := i
	if i < len(b) && b[i]|0x20 == 'e' {
		e, k := usualExponent(b[i+1:])
		if k == 0 {
			e, k = scanExponent(b[i+1:])
		}
		exp += e
		if k > 0 {
			i += 1 + k
		}
	}
	if nd > 19 || man == 0 {
		// Leading zeros are no significant digits; more than 19 significant
		// ones overflow man.
		nd = significant(b[start:mantEnd])
		if nd > 19 {
			return scanLong(b[:i], decimal, exp, nd)
		}
	} else if b[start] == '0' || b[start] == decimal {
		nd = decimalDigits(man)
	}
	v, ok := scaled(man, exp)
	if !ok {
		return scanLong(b[:i], decimal, exp, nd)
	}
	if b[0] == '-' {
		v = -v
	}
	return number{v: v, exp10: exp, digits: nd}, i
}

// scanFraction adds the digits from b[i] on to the mantissa man and gives where
// they end. It takes eight bytes at a time; reading behind the number, within
// the buffer, is harmless. The masks only spare the compiler's checks.
func scanFraction(b []byte, i int, man uint64) (uint64, int) {
	for i+8 <= cap(b) {
		w := binary.LittleEndian.Uint64(b[i:i+8]) ^ zeroChars
		k := min(leadingDigits(w), len(b)-i)
		if k < 8 {
			if k > 0 {
				man = man*pow10uint[k&7] + eightDigits(w<<((64-8*k)&63))
			}
			return man, i + k
		}
		man = man*1e8 + eightDigits(w)
		i += 8
	}
	// What is left at the end of the buffer.
	for i < len(b) {
		c := b[i] - '0'
		if c > 9 {
			break
		}
		man = man*10 + uint64(c)
		i++
	}
	return man, i
}

// scaled is man·10^exp; ok is false where neither the exact way nor Eisel-Lemire
// decides.
func scaled(man uint64, exp int) (v float64, ok bool) {
	switch {
	case man < 1<<53 && exp >= -22 && exp <= 22:
		v = float64(man)
		if exp < 0 {
			return v / pow10tab[-exp], true
		}
		return v * pow10tab[exp], true
	case man == 0:
		return 0, true
	}
	return eiselLemire(man, exp)
}

// usualExponent is scanExponent for a sign, two digits and something else
// behind them; anything other gives next 0.
func usualExponent(b []byte) (e, next int) {
	if len(b) < 4 || b[1]-'0' > 9 || b[2]-'0' > 9 || b[3]-'0' <= 9 {
		return 0, 0
	}
	e = int(b[1]-'0')*10 + int(b[2]-'0')
	switch b[0] {
	case '+':
		return e, 3
	case '-':
		return -e, 3
	}
	return 0, 0
}

// scanExponent reads what follows an e: sign and digits. next 0 means that
// none stand there; e is held near 100000, far out of range.
func scanExponent(b []byte) (e, next int) {
	i := 0
	if len(b) > 0 && (b[0] == '-' || b[0] == '+') {
		i = 1
	}
	first := i
	for i < len(b) && b[i]-'0' <= 9 {
		if e < 100000 {
			e = e*10 + int(b[i]-'0')
		}
		i++
	}
	if i == first {
		return 0, 0
	}
	if b[0] == '-' {
		e = -e
	}
	return e, i
}

// scanLong leaves the number to strconv.
func scanLong(b []byte, decimal byte, exp, nd int) (number, int) {
	s := string(b)
	if decimal != '.' {
		t := []byte(s)
		for i, c := range t {
			if c == decimal {
				t[i] = '.'
			}
		}
		s = string(t)
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		return number{}, 0
	}
	return number{v: v, exp10: exp, digits: nd}, len(b)
}

const zeroChars = 0x3030303030303030

// leadingDigits counts the values 0 to 9 at the start (low end) of w, eight
// ASCII characters less zeroChars.
func leadingDigits(w uint64) int {
	other := (w&0x7F7F7F7F7F7F7F7F + 0x7676767676767676 | w) & 0x8080808080808080
	return bits.TrailingZeros64(other) / 8
}

// eightDigits gives the number with the eight digits in w, each the value of a
// byte, first in the low one.
func eightDigits(w uint64) uint64 {
	w = w*10 + w>>8
	return (w&0x000000FF000000FF*0x000F424000000064 + w>>16&0x000000FF000000FF*0x0000271000000001) >> 32
}

func significant(b []byte) (n int) {
	for _, c := range b {
		if c >= '0' && c <= '9' && (n > 0 || c != '0') {
			n++
		}
	}
	return max(n, 1)
}

func decimalDigits(m uint64) int {
	if m == 0 {
		return 1
	}
	n := bits.Len64(m) * 1233 >> 12 // log10(2)
	if n < 20 && m >= pow10uint[n] {
		n++
	}
	return n
}

var pow10uint = [20]uint64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19}

const minPow10, maxPow10 = -90, 70

// pow10mantissa gives 128 bit mantissas of the powers of ten from minPow10 to
// maxPow10, cut (not rounded) to [low, high] words.
var pow10mantissa = sync.OnceValue(func() *[maxPow10 - minPow10 + 1][2]uint64 {
	t := new([maxPow10 - minPow10 + 1][2]uint64)
	ten := big.NewInt(10)
	for q := minPow10; q <= maxPow10; q++ {
		m := new(big.Int)
		if q >= 0 {
			m.Exp(ten, big.NewInt(int64(q)), nil)
			m.Lsh(m, 256)
		} else {
			m.Exp(ten, big.NewInt(int64(-q)), nil)
			m.Div(new(big.Int).Lsh(big.NewInt(1), 512), m)
		}
		m.Rsh(m, uint(m.BitLen()-128))
		t[q-minPow10][0] = new(big.Int).And(m, new(big.Int).SetUint64(math.MaxUint64)).Uint64()
		t[q-minPow10][1] = new(big.Int).Rsh(m, 64).Uint64()
	}
	return t
})

// eiselLemire gives man times ten to the exp10, correctly rounded, or false
// when it cannot decide.
func eiselLemire(man uint64, exp10 int) (float64, bool) {
	if exp10 < minPow10 || exp10 > maxPow10 {
		return 0, false
	}
	p := &pow10mantissa()[exp10-minPow10]
	clz := bits.LeadingZeros64(man)
	man <<= uint(clz)
	exp2 := uint64(217706*exp10>>16+64+1023) - uint64(clz)
	hi, lo := bits.Mul64(man, p[1])
	if hi&0x1FF == 0x1FF && lo+man < man {
		yhi, ylo := bits.Mul64(man, p[0])
		mhi, mlo := hi, lo+yhi
		if mlo < lo {
			mhi++
		}
		if mhi&0x1FF == 0x1FF && mlo+1 == 0 && ylo+man < man {
			return 0, false
		}
		hi, lo = mhi, mlo
	}
	msb := hi >> 63
	m := hi >> (msb + 9)
	exp2 -= 1 ^ msb
	if lo == 0 && hi&0x1FF == 0 && m&3 == 1 {
		return 0, false
	}
	m += m & 1
	m >>= 1
	if m>>53 > 0 {
		m >>= 1
		exp2++
	}
	if exp2-1 >= 0x7FF-1 {
		return 0, false
	}
	return math.Float64frombits(exp2<<52 | m&(1<<52-1)), true
}
