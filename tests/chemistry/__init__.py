"""Tests of the chemistry. A package by name, so that no module of another folder can stand in for it."""
