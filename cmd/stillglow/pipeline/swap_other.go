//go:build !linux

package pipeline

// swapFolders puts fresh in the place of dir and gives where the old folder now
// is, "" when there was none.
func swapFolders(fresh, dir, aside string) (old string, err error) {
	return swapByTwoRenames(fresh, dir, aside)
}
