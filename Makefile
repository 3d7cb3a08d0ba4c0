# Two commands do all the set-up: `make identify` and `make test`.
PYTHON ?= python3
BIN := .venv/bin

.PHONY: identify test bench lint types clean

.venv/installed: pyproject.toml
	$(PYTHON) -m venv .venv
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --editable .
	touch $@

.venv/tests-installed: .venv/installed tests/package-lock.json
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --editable '.[test]'
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps -r tests/outside/requirements.txt
	if command -v npm >/dev/null; then npm ci --prefix tests --no-audit --no-fund --loglevel=error; fi  # checks of pages
	mkdir -p .venv/names && ln -sfn ../.. .venv/names/tellmark  # how the type checker finds tellmark.* from the tests
	touch $@

# The main job on the packaged demonstration: questions on a terminal, a worked example when input is not one.
identify: .venv/installed
	@if [ -t 0 ]; then $(BIN)/tellmark identify; \
	else $(BIN)/tellmark identify --answers tests/examples/late-motor.yaml; fi

test: .venv/tests-installed lint types
	$(BIN)/python -m pytest -n auto --dist worksteal

lint: .venv/tests-installed
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .

types: .venv/tests-installed
	$(BIN)/basedpyright --threads 2

.venv/bench-installed: .venv/tests-installed
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --editable '.[bench]'
	touch $@

bench: .venv/bench-installed
	$(BIN)/python tests/bench.py

clean:
	rm -rf .venv build *.egg-info
