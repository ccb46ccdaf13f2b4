"""Does a plan contradict itself? Sentences, numbers, sums and purposes held against each other."""
