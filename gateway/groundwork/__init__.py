"""What every room stands on: small mechanisms and values, each in one file. Imports nothing of ours."""
