//go:build !unix

package pipeline

func makeFIFO(string) bool { return false }
