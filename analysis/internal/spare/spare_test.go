package spare

import "testing"

// A space comes back to one caller at a time and for its length alone, and no more than
// Most are kept.
func TestList(t *testing.T) {
	made := 0
	fresh := func(length int) *int { made++; v := length; return &v }
	l := List[*int]{Most: 2}
	a := l.Take(8, fresh)
	if b := l.Take(8, fresh); b == a || made != 2 {
		t.Fatalf("a space in use was given a second time; %d made", made)
	}
	l.Give(8, a)
	if c := l.Take(9, fresh); *c != 9 || made != 3 {
		t.Errorf("a space for %d given for 9; %d made", *c, made)
	}
	if b := l.Take(8, fresh); b != a || made != 3 {
		t.Errorf("the space given back was not given again; %d made", made)
	}
	for n := range 5 {
		l.Give(n, l.Take(n, fresh))
	}
	if len(l.kept) != 2 {
		t.Errorf("%d spaces kept, want 2", len(l.kept))
	}
	made = 0
	if l.Take(4, fresh); made != 0 {
		t.Error("the space last given back is not kept")
	}
	if l.Take(0, fresh); made != 1 {
		t.Error("the space given back first is kept")
	}
}
