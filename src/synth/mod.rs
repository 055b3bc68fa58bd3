//! Test signals with a known truth. Imports units and machine only, never a stage under test.
