"""The bench: what was really built, measured step by step. Procedures move a servo; estimators are pure."""
