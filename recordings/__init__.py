"""Demo recordings of an invented workshop, packed with the program (`platepull demo`). `make.py` made them."""
