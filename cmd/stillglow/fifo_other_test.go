//go:build !unix

package main

func makeFIFO(string) bool { return false }
