"""A copy of a study to share: the same answer, without where, when and on which device."""
