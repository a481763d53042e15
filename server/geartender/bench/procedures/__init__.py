"""The procedures of the bench: each moves a servo step by step, and says before every step what it will do."""
