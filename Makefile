# make demo: set up and print the verdicts of the example robot
# make test: set up and pass the tests that tell whether it works
# make test-long: pass the tests that take their time
# make cover: pass both and say how much of the code they run
# make lint: linter, formatter, type checker, import contract, rings of imports, tests that cannot fail, code that only tests reach
# make bench: benchmarks, on a quiet machine

PYTHON ?= python3
BIN := .venv/bin
# as the command itself does: two workers on two cores leave threads of linear algebra to wait for each other
export OPENBLAS_NUM_THREADS ?= 1

# each module is compiled once, whatever the machine's settings: the tests start Python some hundred times
unexport PYTHONDONTWRITEBYTECODE

.PHONY: demo test test-long cover lint bench format clean browser

demo: .venv/ready
	$(BIN)/fieldworthy check examples/heron/mk1.yaml --exit-zero
	@echo "Next: $(BIN)/fieldworthy open examples/heron, or $(BIN)/fieldworthy new for a robot of your own"

test: .venv/ready-dev browser
	$(BIN)/python -m pytest -n 2

test-long: .venv/ready-dev browser
	$(BIN)/python -m pytest -n 2 -m long

cover: .venv/ready-dev browser
	$(BIN)/python -m pytest -n 2 -m "long or not long" --cov --cov-report=term

lint: .venv/ready-dev
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/lint-imports
	$(BIN)/python tools/cycles.py
	$(BIN)/python tools/unreached.py
	$(BIN)/python tools/emptyloops.py

bench: .venv/ready-dev
	$(BIN)/python -m pytest benchmarks --benchmark-only -n 0 -o python_files='bench_*.py' -o filterwarnings=default

# the tests of the page drive a real browser; where there is none, Debian's and Ubuntu's packages bring it
SUDO := $(shell test "$$(id -u)" = 0 || echo sudo)
browser:
	@command -v chromium >/dev/null || command -v google-chrome >/dev/null || \
	  { $(SUDO) apt-get update -q && $(SUDO) apt-get install -q -y --no-install-recommends chromium; } || \
	  echo "no browser: install Chromium, the tests of the page need it"

format: .venv/ready-dev
	$(BIN)/ruff check --fix .
	$(BIN)/ruff format .

.venv/bin/python:
	$(PYTHON) -m venv .venv

# -qq hides all of pip but its errors; a module is compiled when it is first used, which shortens the wait
.venv/ready: .venv/bin/python pyproject.toml constraints.txt
	$(BIN)/python -m pip install -qq --no-compile --disable-pip-version-check -c constraints.txt -e .
	touch $@

.venv/ready-dev: .venv/bin/python pyproject.toml constraints.txt
	$(BIN)/python -m pip install -qq --no-compile --disable-pip-version-check -c constraints.txt -e '.[dev]'
	touch $@ .venv/ready

clean:
	rm -rf .venv .mypy_cache .ruff_cache .pytest_cache
