"""The tool as a library: what ``import cuttable`` gives."""
