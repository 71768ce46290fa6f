"""The web app: thin. Forms and JSON become core records once; pages and the API give them back."""
