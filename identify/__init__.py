"""What is this: compiling entries to arrays, belief, the next question."""
