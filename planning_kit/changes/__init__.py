"""Edits of a scenario, each giving a new one."""
