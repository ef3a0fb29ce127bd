package demo_test

import (
	"os"
	"testing"

	"lintel.example/lintel/internal/store/storetest"
)

func TestMain(m *testing.M) { os.Exit(storetest.Main(m)) }
