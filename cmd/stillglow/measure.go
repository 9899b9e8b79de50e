package main

import (
	"github.com/spf13/cobra"
)

func newMeasureCmd() *cobra.Command { return &cobra.Command{Use: "measure FILE...", Hidden: true} }
func newRankCmd() *cobra.Command    { return &cobra.Command{Use: "rank SHEET", Hidden: true} }
func newReportCmd() *cobra.Command  { return &cobra.Command{Use: "report SHEET", Hidden: true} }
