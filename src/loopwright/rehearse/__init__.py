"""Rehearse: every course of events the programme allows, searched for the ones that must not happen."""
