"""Questions to the library about music, answered by examples/theory.rs."""

import os
import subprocess
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
THEORY = Path(os.environ.get("THEORY", ROOT / "target" / "debug" / "examples" / "theory"))


def ask(questions):
    """The answers to these questions (the program's opening comment lists them), in order, as text."""
    if not THEORY.is_file():
        raise AssertionError(f"there is no program {THEORY}: cargo build --example theory, or name it in THEORY")
    questions = list(questions)
    text = "".join(f"{question}\n" for question in questions)
    done = subprocess.run([str(THEORY)], input=text, capture_output=True, text=True, timeout=300, check=False)
    answers = done.stdout.splitlines()
    if done.returncode != 0 or len(answers) != len(questions):
        raise AssertionError(f"theory ended with {done.returncode} after {len(answers)} answers: {done.stderr}")
    return answers


def numbers(answer):
    """The numbers of an answer."""
    return [] if answer == "none" else [int(number) for number in answer.split()]


def listed(numbers_):
    """Numbers as a question has them."""
    return " ".join(str(number) for number in numbers_)
