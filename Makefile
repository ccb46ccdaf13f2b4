# `make demo` and `make test` are the whole set-up: they make an environment of their own in .venv.
# Another Python than python3: make test PYTHON=python3.12

PYTHON ?= python3
BIN := .venv/bin
READY := .venv/ready
DEMO := demo_output
# The oldest and the newest libraries have environments, and compiled kernels, of their own.
LOWEST := .venv-lowest
NEWEST := .venv-newest
# Part of the tests only: make test-lowest TESTS=tests/terrain
TESTS :=
RUN_TESTS := -m pytest -n auto --dist loadfile --no-loadscope-reorder $(TESTS)

.PHONY: help demo test test-lowest test-newest lint docs bench accuracy clean
.DEFAULT_GOAL := help

help:
	@echo "make demo    run the main job on the sample ranch; results in $(DEMO)/"
	@echo "make test    run all tests"
	@echo "make test-lowest  the same with the lowest versions declared, on Python 3.11"
	@echo "make test-newest  the same with the newest versions there are, on the newest Python here"
	@echo "make lint    check style, types and formatting"
	@echo "make docs    write the pages again that are made from code, and the README's sample output"
	@echo "make bench   time the terrain chain on many grounds beside pysheds and pyflwdir (minutes)"
	@echo "make accuracy  print what is found of what is there, by kind of ground (minutes)"
	@echo "make clean   remove the environment and everything made"

$(READY): pyproject.toml constraints.txt
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null || \
	{ echo "Gullywalk needs Python 3.11 or newer; '$(PYTHON)' is $$($(PYTHON) --version 2>&1)." \
	"Name another one: make PYTHON=python3.12" >&2; exit 1; }
	@echo "Setting up the environment in .venv (about a minute, once)"
	@test -x $(BIN)/python || $(PYTHON) -m venv .venv
	@PIP_CONSTRAINT=constraints.txt $(BIN)/python -m pip install --quiet \
	--disable-pip-version-check --editable '.[test,pysheds]'
	@touch $(READY)

SAMPLE := sample_dem/ranch_dem.tif
PLAN := $(DEMO)/ranch.gpkg

demo: $(READY)
	@mkdir -p $(DEMO)
	$(BIN)/gullywalk screen sample_dem/ranch_dem.tif --boundary sample_dem/boundary.geojson \
	--rain sample_dem/rainfall.csv --curve-number 79 --roads sample_dem/ranch.gpkg \
	--keep-clear sample_dem/ranch.gpkg --keep-clear-layer keep_clear --out $(DEMO)/ranch.gpkg \
	--list $(DEMO)/ranch.csv --map $(DEMO)/ranch.png --overwrite
	$(BIN)/gullywalk explain $(PLAN) rank:2 --dem $(SAMPLE) --picture $(DEMO)/site.png \
	--overwrite >$(DEMO)/site.txt
	$(BIN)/gullywalk packet $(PLAN) --top 12 --out $(DEMO)/packet.pdf --overwrite
	$(BIN)/gullywalk page $(PLAN) --out $(DEMO)/ranch.html --overwrite
	$(BIN)/gullywalk waypoints $(PLAN) --dem $(SAMPLE) --hours 8 --out $(DEMO)/walk.gpx \
	--list $(DEMO)/walk.csv --map $(DEMO)/walk.png --overwrite
	$(BIN)/gullywalk revise $(PLAN) sample_dem/field_notes.csv --out $(DEMO)/revised.gpkg --overwrite
	@echo "All of it is in $(DEMO)/: begin with ranch.html or packet.pdf."

test: $(READY)
	$(BIN)/python $(RUN_TESTS)

# Without pysheds, whose kernels numba 0.61 cannot take from its cache; its tests are skipped.
$(LOWEST)/ready: pyproject.toml constraints-lowest.txt
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info[:2] != (3, 11))' 2>/dev/null || \
	{ echo "The lowest versions are those of Python 3.11; '$(PYTHON)' is" \
	"$$($(PYTHON) --version 2>&1). Name another one: make test-lowest PYTHON=python3.11" >&2; exit 1; }
	@echo "Setting up the lowest versions in $(LOWEST)"
	@$(PYTHON) -m venv --clear $(LOWEST)
	@PIP_CONSTRAINT=constraints-lowest.txt $(LOWEST)/bin/python -m pip install --quiet \
	--disable-pip-version-check --editable '.[test]'
	@touch $@

test-lowest: $(LOWEST)/ready
	NUMBA_CACHE_DIR=$(CURDIR)/$(LOWEST)/kernels $(LOWEST)/bin/python $(RUN_TESTS)

# The newest Python of those that the project names, unless one is given. Without pysheds, which
# holds numpy back; its tests are skipped.
ifneq ($(origin PYTHON), file)
NEWEST_PYTHON = $(PYTHON)
else
NEWEST_PYTHON = $(shell for p in python3.13 python3.12 $(PYTHON); do \
	$$p -c '' 2>/dev/null && echo $$p && break; done)
endif

$(NEWEST)/ready: pyproject.toml
	@echo "Setting up the newest versions in $(NEWEST), with $(NEWEST_PYTHON)"
	@$(NEWEST_PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 12))' || \
	echo "No Python 3.12 or 3.13 was found: this shows nothing about those."
	@$(NEWEST_PYTHON) -m venv --clear $(NEWEST)
	@$(NEWEST)/bin/python -m pip install --quiet --disable-pip-version-check --editable '.[test]'
	@touch $@

test-newest: $(NEWEST)/ready
	NUMBA_CACHE_DIR=$(CURDIR)/$(NEWEST)/kernels $(NEWEST)/bin/python $(RUN_TESTS)

lint: $(READY)
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy

docs: $(READY)
	$(BIN)/python -m tests.docs.refresh

accuracy: $(READY)
	$(BIN)/python -m tests.accuracy.accuracy_table

bench: $(READY)
	$(BIN)/python tests/benchmarks/terrain_chain.py

clean:
	rm -rf .venv $(LOWEST) $(NEWEST) $(DEMO) build dist .pytest_cache .mypy_cache .ruff_cache .hypothesis
