"""Scans, photographs and papers, each kept once under the hash of its contents."""
