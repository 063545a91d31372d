"""Faults put into the product on purpose: does a test see each of them?"""
