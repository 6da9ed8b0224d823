.PHONY: help demo test check bench gold pack
help:  ## say what there is
	@grep -E '^[a-z]+:.*##' Makefile | sed 's/:.*## /\t/'
demo:  ## run the whole job on a made-up trip
	python3 dev.py demo
test:  ## run the tests
	python3 dev.py test
check:  ## lint, types and import contracts
	python3 dev.py check
bench:  ## run the benchmarks
	python3 dev.py bench
gold:  ## tell what has moved against the stored results
	python3 dev.py gold
pack:  ## gather what a laptop without a network installs from
	python3 dev.py pack
