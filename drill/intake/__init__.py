"""Intake: from a pile of media to a proposal of what to promise (`drill new`)."""
